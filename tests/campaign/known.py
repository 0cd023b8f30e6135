"""What is known to be missed or told late, and why."""

# Faults that are missed or told late: by what word at the worst, and why.
KNOWN: dict[str, tuple[str, str]] = {
    "horn_contact_sticks_open": (
        "missed",
        "a contact that sticks open shows when the horn is next called; it is tried "
        "whenever heat may come on, not in the middle of a hold",
    ),
    "joint_grows": (
        "late",
        "when a plug begins to char, the current is down by a thirtieth; a joint that grows "
        "by more than 3 ohm/h is there before so little stands out from clamps and mains",
    ),
}
