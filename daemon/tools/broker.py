"""The files that signing in at the broker needs, looked at before they are needed."""

from daemon.config import Config


def broker_faults(config: Config) -> list[str]:
    """What is wrong with the password file and the certificates, with what to do.

    Looks as whoever runs this: what the daemon's own user may read can differ.
    """
    if config.mqtt is None:
        return []
    faults = []
    for read in (config.mqtt.password, config.mqtt.tls):
        try:
            read()
        except ValueError as error:
            faults.append(f"mqtt.{error}")
    return faults
