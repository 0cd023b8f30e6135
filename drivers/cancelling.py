"""A cancellation that a library has lost."""

import asyncio


def pass_on_cancellation() -> None:
    """Leave now if this task was cancelled in the instant its answer came.

    In Python 3.11 `asyncio.wait_for`, by which pymodbus and aiomqtt wait, then
    returns the answer and loses the cancellation: whoever stops us would wait for
    ever.

    Raises:
        asyncio.CancelledError: it was.
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
