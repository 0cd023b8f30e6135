"""The lifecycle of an alarm: seven states, and every transition in one table.

Source:
    IEC 62682:2014 and ANSI/ISA-18.2-2016, alarm state transition diagram (from
    memory); the states as listed in both. Where this project departs:
    docs/decisions/0012-the-lifecycle-of-an-alarm.md.
"""

from enum import StrEnum


class Life(StrEnum):
    """Where an alarm is in its lifecycle, in the words that people see.

    In the order and with the names of the standards: normal; unacknowledged;
    acknowledged; returned to normal unacknowledged; shelved; suppressed by
    design; out of service.
    """

    NORMAL = "normal"
    UNSEEN = "unseen"
    SEEN = "seen"
    OVER_UNSEEN = "over_unseen"
    QUIET = "quiet"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out_of_service"


class Happening(StrEnum):
    """What can happen to an alarm."""

    RAISED = "raised"
    WORSE = "worse"
    BETTER = "better"
    OVER = "over"
    SEEN = "seen"
    GOING = "going"
    QUIET = "quiet"
    QUIET_OVER = "quiet_over"
    SUPPRESSED = "suppressed"
    SUPPRESSION_OVER = "suppression_over"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"
    AGAIN = "again"
    LED = "led"
    SPEAKS = "speaks"
