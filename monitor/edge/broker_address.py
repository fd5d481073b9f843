"""Where a broker of the site's own choosing is reached, by the settings."""

from pathlib import Path

from monitor.edge.mqtt_client import Address
from monitor.errors import BadSettingsError
from monitor.settings import BrokerSettings


def external_address(chosen: BrokerSettings) -> Address:
    """The external broker of the settings."""
    password = None
    if chosen.password_file is not None:
        try:
            password = Path(chosen.password_file).read_text().strip()
        except OSError as error:
            raise BadSettingsError(
                f"broker.password_file {chosen.password_file} cannot be read: {error.strerror}"
            ) from None
    return Address(
        host=chosen.host,
        port=chosen.port,
        user=chosen.user,
        password=password,
        tls=chosen.tls,
        ca_file=chosen.ca_file,
        cert_file=chosen.cert_file,
        key_file=chosen.key_file,
        protocol=chosen.protocol,
    )
