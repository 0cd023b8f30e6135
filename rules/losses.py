"""What may go on when a sensor is lost, phase by phase: how long, and on what other evidence.

Source:
    This project's design; figures are common practice, no source.
"""
