"""One frame's findings and the passing of time, told as alarms.

Every change of an alarm goes through the table of `rules.lifecycle`. What changed
is told by comparing what stood with what stands: one event for one change.

Source:
    This project's design; IEC 62682 / ISA-18.2, EEMUA 191.
"""

from collections.abc import Sequence
from dataclasses import replace

from rules.alarms import (
    NEVER,
    AlarmLimits,
    Alarms,
    Over,
    Standing,
    back_in_service,
    earliest_ns,
)
from rules.escalation import (
    after_min,
    armed,
    carried_up,
    come_back,
    covered,
    escalated,
    weight,
    why,
)
from rules.events import AlarmLife, Escalated, Event, Horn, Level, Nuisance, Prompted
from rules.following import DEPTH, leader_of
from rules.frame import NS_PER_S
from rules.hazards import BY_TAG
from rules.hazards.base import Finding, Priority
from rules.horns import horn, horn_of, silenced
from rules.lifecycle import SPEAKING, Happening, Life, after
from rules.messages import (
    Subject,
    Told,
    alarm_told,
    escalated_told,
    in_service_told,
    nuisance_told,
    telling_of,
)
from rules.nuisance import falls_with, flood_ends_ns, is_flood, minor, raised_with
from rules.phases import Phase
from rules.standing import begun, by_phase, by_time, eased, heard_again, tripped
from rules.telling import changed, cleared, subject_of, told_of
from rules.view import View

NOTHING = Told("", "")


def update(
    limits: AlarmLimits,
    alarms: Alarms,
    findings: Sequence[tuple[str, Finding]],
    view: View,
) -> tuple[Alarms, tuple[Event, ...]]:
    """The alarms after one frame, and what is to be told.

    Args:
        limits: figures of the lifecycle.
        alarms: so far; the same object comes back when nothing changed.
        findings: tag and finding in hazard order, only those that are not clear.
        view: the frame.

    Source:
        This project's design.
    """
    if view.now_ns < alarms.next_ns and (
        not (findings or alarms.standing) or _nothing_new(alarms, findings, view)
    ):
        return alarms, ()
    return _Round(limits, alarms, findings, view).finished()


def _nothing_new(alarms: Alarms, findings: Sequence[tuple[str, Finding]], view: View) -> bool:
    heard = alarms.heard
    if len(findings) != len(heard):
        return False
    if view.someone_here or view.phase is not alarms.phase:
        return False
    for (tag, finding), (was, level, pattern) in zip(findings, heard, strict=True):
        if tag != was or finding.level is not level or finding.horn is not pattern:
            return False
    return True


class _Round:
    """What one frame makes of the alarms; built only when something may change."""

    def __init__(
        self,
        limits: AlarmLimits,
        alarms: Alarms,
        findings: Sequence[tuple[str, Finding]],
        view: View,
    ) -> None:
        self.limits = limits
        self.alarms = alarms
        self.view = view
        self.now_ns = view.now_ns
        self.telling = telling_of(view.facts.title, view.frame, watch_only=view.watch_only)
        self.findings = findings
        self.found = dict(findings)
        self.was = {item.tag: item for item in alarms.standing}
        self.items = dict(self.was)
        self.over = {item.tag: item for item in alarms.over}
        self.out = {item.tag: item for item in alarms.out}
        self.falls = dict(alarms.falls)
        self.raised_ns = alarms.raised_ns
        self.flood = alarms.flood
        self.started = alarms.started
        self.because: dict[str, tuple[Happening, str]] = {}
        self.first: dict[str, Event] = {}
        self.gone: dict[str, Standing] = {}
        self.events: list[Event] = []

    def finished(self) -> tuple[Alarms, tuple[Event, ...]]:
        """The alarms afterwards, and the events."""
        self._return_to_service()
        if self.view.someone_here:
            self._press()
        self._level()
        self._begin()
        for tag, item in self.items.items():
            self.items[tag] = self._by_phase_and_time(item)
        self._lead()
        self._end_flood()
        for tag in {**self.was, **self.items}:
            self._tell(tag)
        for tag, item in self.items.items():
            self.items[tag] = self._grow_stale(item)
        self._call()
        self._lapse()
        return self._alarms(), tuple(self.events)

    def _alarms(self) -> Alarms:
        standing = tuple(self.items.values())
        found = [(tag, self.found[tag].level) for tag, _ in self.alarms.found if tag in self.found]
        before = {tag for tag, _ in found}
        found += [(tag, item.level) for tag, item in self.findings if tag not in before]
        after_all = Alarms(
            standing,
            self.started if standing else 0,
            tuple(found),
            tuple((tag, item.level, item.horn) for tag, item in self.findings),
            self.view.phase if standing else Phase.IDLE,
            tuple(self.over.values()),
            tuple(self.out.values()),
            horn(standing, self.now_ns),
            NEVER,
            tuple(self.falls.items()),
            self.raised_ns,
            self.flood,
        )
        ends_ns = flood_ends_ns(self.limits, self.raised_ns) if self.flood else NEVER
        return replace(after_all, next_ns=earliest_ns(after_all, ends_ns))

    def _return_to_service(self) -> None:
        for tag, mark in list(self.out.items()):
            if self.now_ns < mark.until_ns:
                continue
            del self.out[tag]
            item = self.items.get(tag)
            life = Life.OVER_UNSEEN if tag in self.over else Life.NORMAL
            if item is not None and item.level > Level.PROMPT:
                self.items[tag] = item = back_in_service(item)
                life = item.life
            words = in_service_told(self.telling, BY_TAG[tag].row, "itself")
            reason = f"the time allowed is over; {mark.who} had taken it out: {mark.why}"
            self.events.append(_life(tag, Happening.IN_SERVICE, life, reason, words))

    def _press(self) -> None:
        # Before this frame's findings: a press never answers what it cannot have heard.
        for tag, item in self.items.items():
            here = replace(silenced(self.limits, item, self.now_ns), attended=True)
            self.items[tag] = armed(self.limits, here, self.now_ns) if here.told else here

    def _level(self) -> None:
        for tag, item in list(self.items.items()):
            finding = self.found.get(tag)
            if finding is not None and finding.level >= item.level:
                self.items[tag] = self._risen(item, finding)
                continue
            lower = self._lower(item, finding)
            if lower is None or lower.level is Level.PROMPT:
                self.gone[tag] = item
            if lower is None:
                del self.items[tag]
            else:
                self.items[tag] = lower

    def _risen(self, item: Standing, finding: Finding) -> Standing:
        if finding.level is item.level:
            return heard_again(item, finding, self.now_ns)
        if item.level is Level.PROMPT:
            return self._begun(item.tag, finding, item.order)
        return tripped(item, finding, self.now_ns)

    def _lower(self, item: Standing, finding: Finding | None) -> Standing | None:
        if item.level is Level.PROMPT:
            return None
        # The horn speaks of what is found now, also of what comes and goes.
        pattern = Horn.SILENT if finding is None else horn_of(item.tag, finding)
        if item.held:
            if item.settle_ns == NEVER:
                return replace(item, settle_ns=self._settle_ns(), horn=pattern)
            if self.now_ns < item.settle_ns:
                return item if item.horn is pattern else replace(item, horn=pattern)
            reason = f"stayed away for {self.limits.settle_s:.0f} s"
            self.first[item.tag] = self._nuisance(item, "chattering", reason, begun=False)
        else:
            falls, chatters = falls_with(self.limits, self.falls.pop(item.tag, ()), self.now_ns)
            if chatters:
                reason = f"{len(falls)} times in {self.limits.chatter_s:.0f} s"
                self.first[item.tag] = self._nuisance(item, "chattering", reason, begun=True)
                return replace(item, held=True, settle_ns=self._settle_ns(), horn=pattern)
            self.falls[item.tag] = falls
        if finding is None:
            return None
        if finding.level is Level.PROMPT:
            return self._begun(item.tag, finding, item.order)
        return eased(item, finding)

    def _settle_ns(self) -> int:
        return self.now_ns + int(self.limits.settle_s * NS_PER_S)

    def _nuisance(self, item: Standing, kind: str, reason: str, *, begun: bool) -> Nuisance:
        words = nuisance_told(self.telling, kind, BY_TAG[item.tag].row, reason, begun=begun)
        state = "begun" if begun else "ended"
        if not item.told:
            words = NOTHING
        return Nuisance(kind, state, item.tag, reason, words.short, words.page)

    def _begin(self) -> None:
        new = [(tag, finding) for tag, finding in self.findings if tag not in self.was]
        # The cause before what it brings, also when both begin in one frame.
        for tag, finding in sorted(new, key=lambda one: DEPTH[one[0]]):
            self.started += 1
            self.items[tag] = self._begun(tag, finding, self.started)

    def _begun(self, tag: str, finding: Finding, order: int) -> Standing:
        life = Life.NORMAL
        if finding.level > Level.PROMPT and self.over.pop(tag, None) is not None:
            life = Life.OVER_UNSEEN
        elif tag in self.out:
            life = Life.OUT_OF_SERVICE
        return begun(self.limits, tag, finding, self.view, order=order, life=life)

    def _by_phase_and_time(self, item: Standing) -> Standing:
        if 0 < item.quiet_at_rig_ns <= self.now_ns:
            item = replace(item, quiet_at_rig_ns=0)
        if item.horn is Horn.STAND_CLEAR and 0 < item.stand_clear_ns <= self.now_ns:
            item = replace(item, stand_clear_ns=0)
        if item.level is Level.PROMPT:
            return item
        phased = by_phase(item, self.view.phase)
        if phased.life is Life.SUPPRESSED and phased is not item:
            reason = BY_TAG[item.tag].row.silent_in[self.view.phase]
            self.because[item.tag] = (Happening.SUPPRESSED, reason)
        timed = by_time(self.limits, phased, self.now_ns)
        if timed is not phased:
            self.because[item.tag] = (Happening.QUIET_OVER, item.quiet_why)
        return timed

    def _lead(self) -> None:
        for tag in sorted(self.items, key=DEPTH.__getitem__):
            item = self.items[tag]
            leader = leader_of(self.limits, item, self.items) if item.life in SPEAKING else ""
            if leader != item.follows:
                self.items[tag] = replace(item, follows=leader)

    def _tell(self, tag: str) -> None:
        was, item, first = self.was.get(tag), self.items.get(tag), self.first.get(tag)
        if first is not None:
            self.events.append(first)
        # What a command has put back in service is as it was, and yet has to speak.
        if item is was and (item is None or not self._speaks_now(item)):
            return
        before = was.level if was is not None else Level.CLEAR
        if item is None or item.level is Level.PROMPT:
            if before > Level.PROMPT:
                self._tell_over(self.gone[tag])
            elif item is not None and was is None:
                words = told_of(self.telling, subject_of(item, self.found.get(tag), ()), "")
                self.items[tag] = replace(item, text=words.short, page=words.page)
                self.events.append(Prompted(tag, item.said, words.short, words.page))
            return
        follows = was.follows if was is not None else ""
        if item.level is not before or item.follows != follows or self._speaks_now(item):
            self._tell_alarm(item, new=was is None or before is Level.PROMPT or not was.told)
        elif was is not None and item.life is not was.life and tag in self.because:
            change, reason = self.because[tag]
            words = NOTHING
            if item.told:
                words = alarm_told(self.telling, self._subject(item))
            self.events.append(_life(tag, change, item.life, reason, words))

    def _speaks_now(self, item: Standing) -> bool:
        if item.life not in SPEAKING or item.told or item.follows:
            return False
        if item.life is Life.QUIET and item.level is not Level.TRIP:
            return False
        return not (self.flood and minor(item))

    def _tell_alarm(self, item: Standing, *, new: bool) -> None:
        if new and item.life in SPEAKING and not item.follows:
            self._count()
        if self._speaks_now(item):
            item = armed(self.limits, replace(item, told=True), self.now_ns)
        words = told_of(self.telling, self._subject(item), item.follows)
        item = replace(item, text=words.short, page=words.page)
        self.items[item.tag] = item
        self.events.append(changed(item))

    def _tell_over(self, was: Standing) -> None:
        keeps = was.told and (
            was.worst is Level.TRIP or BY_TAG[was.tag].row.priority is Priority.HIGH
        )
        # Of the lesser ones the record is enough; nobody need look at them any more.
        lapses = was.life is Life.UNSEEN and not keeps
        life = after(was.life, Happening.LAPSED if lapses else Happening.OVER)
        event = cleared(self.telling, was, life, told=was.told and not (self.flood and minor(was)))
        if life is Life.OVER_UNSEEN:
            self.over[was.tag] = Over(
                was.tag,
                was.worst,
                was.since_wall_ns,
                self.view.frame.wall_ns,
                was.said,
                event.text,
                after_min(self.now_ns, self.limits.over_kept_h * 60),
            )
        elif was.tag in self.out:
            event = replace(event, life=after(life, Happening.OUT_OF_SERVICE).value)
        self.events.append(event)

    def _count(self) -> None:
        self.raised_ns = raised_with(self.limits, self.raised_ns, self.now_ns)
        if self.flood or not is_flood(self.limits, self.raised_ns):
            return
        self.flood = True
        reason = f"{len(self.raised_ns)} new alarms in {self.limits.flood_min:.0f} min"
        words = nuisance_told(self.telling, "flood", None, reason, begun=True)
        self.events.append(Nuisance("flood", "begun", "", reason, words.short, words.page))

    def _end_flood(self) -> None:
        if not self.flood or self.now_ns < flood_ends_ns(self.limits, self.raised_ns):
            return
        self.flood = False
        held_back = [
            item
            for tag, item in self.items.items()
            if self._speaks_now(item) and self._held_back(self.was.get(tag), item)
        ]
        for item in held_back:
            self.items[item.tag] = armed(self.limits, replace(item, told=True), self.now_ns)
        titles = "; ".join(BY_TAG[item.tag].row.title for item in held_back)
        reason = f"not told one by one and still standing: {titles or 'nothing'}"
        words = nuisance_told(self.telling, "flood", None, reason, begun=False)
        page = f"{words.page}\n{reason}"
        self.events.append(Nuisance("flood", "ended", "", reason, words.short, page))

    @staticmethod
    def _held_back(was: Standing | None, item: Standing) -> bool:
        """It could have spoken before this frame, but for the flood."""
        if was is None or was.level is not item.level or was.told or was.follows:
            return False
        return was.life in SPEAKING and was.life is not Life.QUIET

    def _grow_stale(self, item: Standing) -> Standing:
        if self.now_ns < item.stale_ns:
            return item
        if item.told:
            reason = f"stands for over {self.limits.stale_h:.0f} h"
            self.events.append(self._nuisance(item, "stale", reason, begun=True))
        return replace(item, stale_ns=NEVER)

    def _call(self) -> None:
        """Call people again for what is due; one call stands for all that is no worse."""
        due = [
            item
            for item in self.items.values()
            if item.told and self.now_ns >= min(item.escalate_ns, item.again_ns)
        ]
        for tag in [item.tag for item in sorted(due, key=weight, reverse=True)]:
            item = self.items[tag]
            if self.now_ns >= item.escalate_ns:
                self._escalate(item)
            elif self.now_ns >= item.again_ns:
                self._come_back(item)

    def _come_back(self, item: Standing) -> None:
        self.items[item.tag] = come_back(self.limits, item, self.now_ns)
        if self.flood and minor(item):
            return
        words = alarm_told(self.telling, self._subject(item))
        life = after(item.life, Happening.AGAIN)
        reason = f"told {item.again_times + 2} times"
        self.events.append(_life(item.tag, Happening.AGAIN, life, reason, words))
        self._cover(item)

    def _escalate(self, item: Standing) -> None:
        reason = why(self.limits, item)
        reached = [
            other.steps for other in self.items.values() if other.told and not other.attended
        ]
        item = escalated(self.limits, item, self.now_ns, max(item.steps + 1, *reached))
        self.items[item.tag] = item
        words = escalated_told(self.telling, self._subject(item), reason)
        self.events.append(Escalated(item.tag, item.steps, reason, words.short, words.page))
        self._cover(item)
        for tag, other in self.items.items():
            if other.told and tag != item.tag:
                self.items[tag] = carried_up(other, item)

    def _cover(self, caller: Standing) -> None:
        for tag, item in self.items.items():
            if item.told and tag != caller.tag:
                self.items[tag] = covered(self.limits, item, caller, self.now_ns)

    def _lapse(self) -> None:
        for tag, item in list(self.over.items()):
            if self.now_ns < item.lapse_ns:
                continue
            del self.over[tag]
            life = after(Life.OVER_UNSEEN, Happening.LAPSED)
            if tag in self.out:
                life = after(life, Happening.OUT_OF_SERVICE)
            reason = f"over for {self.limits.over_kept_h:.0f} h and nobody said seen"
            self.events.append(_life(tag, Happening.LAPSED, life, reason))

    def _subject(self, item: Standing) -> Subject:
        return subject_of(item, self.found.get(item.tag), tuple(self.items.values()))


def _life(tag: str, change: Happening, life: Life, reason: str, words: Told = NOTHING) -> AlarmLife:
    return AlarmLife(tag, change.value, life.value, why=reason, text=words.short, page=words.page)
