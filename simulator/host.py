"""What can be wrong with the supervisor's own computer and with the papers.

The plant cannot carry these out: it stands on the other end of the wire.
Whoever runs the supervisor against this plant reads them here, or from the
answers in lockstep, and does what they say.
"""

from dataclasses import dataclass


@dataclass(slots=True)
class Host:
    """Troubles of the supervisor's own computer.

    Attributes:
        down: the daemon does not run.
        broker_away: the message broker cannot be reached.
        gateway_away: messages to phones cannot be delivered.
        disk_full: the store cannot be written.
        on_battery: the computer runs from its battery.
        clock_step_s: its wall clock has been set by this much.
    """

    down: bool = False
    broker_away: bool = False
    gateway_away: bool = False
    disk_full: bool = False
    on_battery: bool = False
    clock_step_s: float = 0.0


@dataclass(slots=True)
class Papers:
    """What the papers say of this rig and this job.

    Attributes:
        compound_expired: the rubber is past its date.
        calibration_overdue: an instrument's calibration is past its date.
        not_commissioned: the rig was never commissioned.
        no_cure_time: nobody has stated the data sheet's time.
    """

    compound_expired: bool = False
    calibration_overdue: bool = False
    not_commissioned: bool = False
    no_cure_time: bool = False
