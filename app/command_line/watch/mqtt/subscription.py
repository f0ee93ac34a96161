"""A subscription to one topic, by paho-mqtt.

A message is acknowledged to the broker only once its readings are stored. Until then the broker keeps it for this
session (QoS 1), and delivers it again after a lost connection, a restart of the broker, or a kill of this command.
"""

import ssl
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from paho.mqtt.client import Client, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from app.command_line.watch.bench_client import Refused
from app.command_line.watch.mqtt.address import Topic

SESSION_LASTS_S = 86_400  # the broker keeps readings for a day; a run without any is closed long before
_AT_ONCE = 1000  # messages that may wait for their acknowledgement; many brokers allow fewer
_KEEP_ALIVE_S = 30
_TRY_AGAIN_S = (1, 30)
# Reason codes of MQTT 5.0, section 2.4 (from memory), that trying again does not change.
_FOR_GOOD = {
    132: "It needs another version of MQTT; this command speaks MQTT 5",
    133: "It does not accept the name of this client",
    134: "Set HAZEFALL_MQTT_USER and HAZEFALL_MQTT_PASSWORD",
    135: "Set HAZEFALL_MQTT_USER and HAZEFALL_MQTT_PASSWORD, and allow this user to read the topic",
    138: "This client is banned there",
    140: "It needs another way of authentication",
}
_TAKEN_OVER = 142  # not every broker says so; then the connection is lost again and again
_ANOTHER = "If another watch command follows {} into the same run, stop one of them."
_OFTEN, _WITHIN_S = 3, 60.0


@dataclass(frozen=True, slots=True)
class Access:
    """How to be let in: user and password, and a file with the broker's own certificate authority; each may be ""."""

    user: str = ""
    password: str = field(default="", repr=False)
    authority_file: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """A message as delivered. `number` is the broker's, and holds only within one `connection`."""

    payload: bytes
    number: int
    quality: int
    connection: int


class Subscription:
    """A session at a broker. A session of the same name goes on where it was, even in another process."""

    def __init__(self, topic: Topic, session: str, access: Access, say: Callable[[str], None]) -> None:
        self.topic = topic
        self._say = say
        self._said = ""
        self._refusal = ""
        self._connection = 0
        self._is_open = False
        self._closing = False
        self._arrived: deque[Delivery] = deque()
        self._lost_at: deque[float] = deque(maxlen=_OFTEN)
        self._client = Client(
            CallbackAPIVersion.VERSION2, session, protocol=MQTTProtocolVersion.MQTTv5, manual_ack=True
        )
        if access.user:
            self._client.username_pw_set(access.user, access.password or None)
        if topic.tls:
            self._client.tls_set(ca_certs=access.authority_file or None)
        self._client.reconnect_delay_set(*_TRY_AGAIN_S)
        for event, act in {
            "on_connect": self._connected,
            "on_connect_fail": self._connect_failed,
            "on_disconnect": self._disconnected,
            "on_subscribe": self._subscribed,
            "on_message": self._message_arrived,
        }.items():
            setattr(self._client, event, act)

    def arrived(self) -> list[Delivery]:
        """What was delivered since the last look. Opens the connection if needed. Raises Refused."""
        if not self._is_open:
            self._open()
        if self._refusal:
            raise Refused(403, self._refusal)
        found = []
        while self._arrived:
            found.append(self._arrived.popleft())
        return found

    def acknowledge(self, delivery: Delivery) -> None:
        """Ends the broker's part. One of an earlier connection is delivered again, and acknowledged then."""
        if delivery.connection == self._connection:
            self._client.ack(delivery.number, delivery.quality)

    def close(self, *, forget: bool) -> None:
        """Ends the connection; `forget` ends the session too, with everything that waits in it."""
        self._closing = True
        properties = Properties(PacketTypes.DISCONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = 0 if forget else SESSION_LASTS_S
        self._client.disconnect(properties=properties)
        self._client.loop_stop()

    def _open(self) -> None:
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = SESSION_LASTS_S
        properties.ReceiveMaximum = _AT_ONCE
        try:
            self._client.connect(
                self.topic.host, self.topic.port, _KEEP_ALIVE_S, clean_start=False, properties=properties
            )
        except ssl.SSLCertVerificationError as problem:
            raise Refused(
                495,
                f"The certificate of the broker {self.topic.broker} is not trusted ({problem.verify_message}). For a "
                "certificate authority of your own, name its file in HAZEFALL_MQTT_CA.",
            ) from problem
        except OSError as problem:  # no such host, no answer, or no TLS there
            self._say_once(f"The broker {self.topic.broker} does not answer ({problem}). Trying again.")
            return
        self._is_open = True
        self._client.loop_start()

    def _connected(self, client: Client, _data: Any, flags: Any, reason: ReasonCode, _properties: Any) -> None:
        if reason.is_failure:
            words = f"The broker {self.topic.broker} refuses the connection ({reason})."
            if reason.value in _FOR_GOOD:
                self._refusal = f"{words} {_FOR_GOOD[reason.value]}."
            else:
                self._say_once(f"{words} Trying again.")
            return
        self._connection += 1
        if self._connection > 1 and not flags.session_present:
            self._say(
                f"The broker {self.topic.broker} kept nothing while the connection was lost; readings of that time may "
                "be missing. Turn on persistence in its settings."
            )
        elif self._connection > 1:
            self._say(f"Connected to the broker {self.topic.broker} again.")
        self._said = ""
        # retained messages are not asked for: one could be a reading of another day
        options = SubscribeOptions(qos=1, retainHandling=SubscribeOptions.RETAIN_DO_NOT_SEND)
        client.subscribe(self.topic.name, options=options)

    def _connect_failed(self, _client: Client, _data: Any) -> None:
        self._say_once(f"The broker {self.topic.broker} does not answer. Trying again.")

    def _disconnected(
        self, _client: Client, _data: Any, _flags: DisconnectFlags, reason: ReasonCode, _properties: Any
    ) -> None:
        if self._closing or self._refusal:
            return
        if reason.value == _TAKEN_OVER:
            self._refusal = f"The broker gave this session to another client. {_ANOTHER.format(self.topic.name)}"
        else:
            self._say_once(
                f"The connection to the broker {self.topic.broker} was lost ({reason}). Readings wait at the broker, "
                "and are delivered once it answers."
            )
            self._lost_at.append(time.monotonic())
            if len(self._lost_at) == _OFTEN and self._lost_at[-1] - self._lost_at[0] < _WITHIN_S:
                self._say(f"It was lost {_OFTEN} times within a minute. {_ANOTHER.format(self.topic.name)}")
                self._lost_at.clear()

    def _subscribed(self, _client: Client, _data: Any, _number: int, reasons: list[ReasonCode], _more: Any) -> None:
        if reasons[0].is_failure:
            self._refusal = (
                f"The broker {self.topic.broker} does not let this user read {self.topic.name} ({reasons[0]}). Allow "
                "it in the broker's settings, or correct the topic."
            )
        elif reasons[0].value == 0:
            self._say("The broker grants QoS 0 only, so readings can be lost in a gap. Allow QoS 1 for this topic.")
        elif self._connection == 1:  # from now on the broker keeps what is published
            self._say(f"Following {self.topic.name} at {self.topic.broker}.")

    def _message_arrived(self, _client: Client, _data: Any, message: MQTTMessage) -> None:
        self._arrived.append(Delivery(bytes(message.payload), message.mid, message.qos, self._connection))

    def _say_once(self, message: str) -> None:
        if message != self._said:
            self._say(message)
        self._said = message
