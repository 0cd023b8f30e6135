"""Windowed statistics at constant cost, in frozen values.

A window keeps at most `buckets_max` buckets and two whatever the frame period,
so a ten-minute window costs the same at 10 Hz as at one frame a minute. It
forgets by whole buckets, so it reaches back up to one bucket further than
asked. It always spans at least one interval: the sample before the newest is
kept even when it is older than the span, so a slow trace can still show a fall.

Source:
    Own method; compared in tests with plain recomputation over all samples.
"""

from dataclasses import dataclass

from rules.frame import NS_PER_S


@dataclass(frozen=True, slots=True)
class Bucket:
    """The samples of one slice of time: first, last, least, greatest, sum, count."""

    begin_ns: int
    end_ns: int
    first: float
    last: float
    low: float
    high: float
    total: float
    count: int


@dataclass(frozen=True, slots=True)
class Window:
    """The newest `span_s` of one signal.

    Attributes:
        span_s: how far back it reaches, s.
        buckets_max: resolution; at least 2.
        buckets: oldest first.
    """

    span_s: float
    buckets_max: int = 30
    buckets: tuple[Bucket, ...] = ()

    def push(self, at_ns: int, value: float) -> "Window":
        """The window with one more sample; `at_ns` may not go back.

        Args:
            at_ns: time of the sample, ns.
            value: the sample.

        Returns:
            A new window.

        Source:
            Own method.
        """
        span_ns = round(self.span_s * NS_PER_S)
        buckets = self.buckets
        if buckets and at_ns - buckets[-1].begin_ns < span_ns // self.buckets_max:
            tail = buckets[-1]
            merged = Bucket(
                tail.begin_ns,
                at_ns,
                tail.first,
                value,
                min(tail.low, value),
                max(tail.high, value),
                tail.total + value,
                tail.count + 1,
            )
            kept = (*buckets[:-1], merged)
            keep_min = 1  # the merged bucket holds the newest interval
        else:
            kept = (*buckets, Bucket(at_ns, at_ns, value, value, value, value, value, 1))
            keep_min = 2
        start = 0
        while len(kept) - start > keep_min and kept[start].end_ns < at_ns - span_ns:
            start += 1
        return Window(self.span_s, self.buckets_max, kept[start:])

    def cleared(self) -> "Window":
        """The same window without samples, for instance after a gap.

        Source:
            Own method.
        """
        return Window(self.span_s, self.buckets_max) if self.buckets else self

    @property
    def covered_s(self) -> float:
        """Time from the oldest kept sample to the newest, s; 0 when empty.

        Source:
            Own method.
        """
        if not self.buckets:
            return 0.0
        return (self.buckets[-1].end_ns - self.buckets[0].begin_ns) / NS_PER_S

    @property
    def low(self) -> float | None:
        """The least value in the window; None when empty.

        Source:
            Own method.
        """
        return min((bucket.low for bucket in self.buckets), default=None)

    @property
    def high(self) -> float | None:
        """The greatest value in the window; None when empty.

        Source:
            Own method.
        """
        return max((bucket.high for bucket in self.buckets), default=None)

    @property
    def first(self) -> float | None:
        """The oldest value in the window; None when empty.

        Source:
            Own method.
        """
        return self.buckets[0].first if self.buckets else None

    @property
    def last(self) -> float | None:
        """The newest value; None when empty.

        Source:
            Own method.
        """
        return self.buckets[-1].last if self.buckets else None

    @property
    def median(self) -> float | None:
        """Median of the bucket means, to bucket resolution; None when empty.

        Source:
            Own method.
        """
        if not self.buckets:
            return None
        means = sorted(bucket.total / bucket.count for bucket in self.buckets)
        middle = len(means) // 2
        if len(means) % 2:
            return means[middle]
        return (means[middle - 1] + means[middle]) / 2
