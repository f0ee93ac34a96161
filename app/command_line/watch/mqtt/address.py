"""The address of a topic: mqtt://HOST[:PORT]/TOPIC, or mqtts:// for TLS."""

from dataclasses import dataclass
from urllib.parse import unquote

from app.errors import InvalidValue

_PORTS = {"mqtt": 1883, "mqtts": 8883}  # registered by IANA; from memory
_FORM = "mqtt://HOST/TOPIC, or mqtts://HOST/TOPIC for TLS"


@dataclass(frozen=True, slots=True)
class Topic:
    """One topic of a broker."""

    host: str
    port: int
    name: str
    tls: bool

    @property
    def broker(self) -> str:
        return f"{self.host}:{self.port}"


def is_mqtt_address(text: str) -> bool:
    return text.lower().startswith(("mqtt://", "mqtts://"))


def topic_at(address: str) -> Topic:
    """The topic of an address. Raises InvalidValue; no message repeats what may be a password.

    >>> topic_at("mqtts://broker.example/lab/room-a/logger-1")
    Topic(host='broker.example', port=8883, name='lab/room-a/logger-1', tls=True)
    """
    scheme, _, rest = address.partition("://")
    place, _, name = rest.partition("/")
    if "@" in place:
        raise InvalidValue(
            "The address of the broker holds a user or password, which other users of this machine could read. Put "
            "them in the environment, as HAZEFALL_MQTT_USER and HAZEFALL_MQTT_PASSWORD."
        )
    host, colon, port = place.rpartition(":") if not place.endswith("]") else (place, "", "")
    if not colon:
        host, port = place, str(_PORTS[scheme.lower()])
    if not host or not port.isdecimal() or not 0 < int(port) < 65536 or not name:
        raise InvalidValue(f"The address of the topic is {address!r}; enter {_FORM}.")
    name = unquote(name)
    if "+" in name or "#" in name or "\0" in name:
        raise InvalidValue(
            f"The topic {name!r} stands for several; a live run follows one logger. Name the topic of that logger."
        )
    return Topic(host.strip("[]"), int(port), name, scheme.lower() == "mqtts")
