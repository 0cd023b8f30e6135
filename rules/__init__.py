"""Everything that decides: pure functions over frames.

Time comes in with the frame. Nothing here waits, reads a clock, opens a file
or logs, so that live supervision, replay, resume and the campaign share one
answer.
"""
