"""A real MQTT broker (Mosquitto) on loopback, with a listener in the open and one with TLS and a password."""

import os
import shutil
import socket
import subprocess
import time
from collections.abc import Iterable
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
USER, PASSWORD = "bench", "correct horse"
_START_WITHIN_S = 20.0
_SETTINGS = """
per_listener_settings true
user root
persistence true
persistence_location {folder}/
persistence_file store.db
listener {port} 127.0.0.1
allow_anonymous true
listener {tls_port} 127.0.0.1
allow_anonymous false
password_file {folder}/passwords
certfile {folder}/broker.pem
keyfile {folder}/broker.key
"""


class Broker:
    """A broker that can be stopped and started on its ports. What it holds for sessions outlives that."""

    def __init__(self, folder: Path) -> None:
        if MOSQUITTO is None:
            if os.environ.get("CI"):
                pytest.fail("mosquitto is not installed, and the tests with a real broker must run in CI.")
            pytest.skip("mosquitto is not installed; this test needs a real MQTT broker.")
        self.folder = folder
        self.port, self.tls_port = _free_ports(2)
        self.authority = folder / "broker.pem"
        subprocess.run(
            [
                *("openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"),
                *("-keyout", str(folder / "broker.key"), "-out", str(self.authority), "-days", "2"),
                *("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"),
            ],
            check=True,
            capture_output=True,
        )
        passwords = ["mosquitto_passwd", "-b", "-c", str(folder / "passwords"), USER, PASSWORD]
        subprocess.run(passwords, check=True, capture_output=True)
        (folder / "broker.conf").write_text(_SETTINGS.format(folder=folder, port=self.port, tls_port=self.tls_port))
        self.process: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        assert MOSQUITTO is not None
        with (self.folder / "said").open("ab") as said:
            command = [MOSQUITTO, "-c", str(self.folder / "broker.conf")]
            self.process = subprocess.Popen(command, stdout=said, stderr=said)
        end = time.monotonic() + _START_WITHIN_S
        while time.monotonic() < end:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return
            time.sleep(0.02)
        raise AssertionError((self.folder / "said").read_text())

    def stop(self) -> None:
        """Ends it as a restart does; it writes what it holds to the disk first."""
        if self.process is not None:
            self.process.terminate()
            self.process.wait(_START_WITHIN_S)
            self.process = None

    def publish(self, topic: str, payloads: Iterable[bytes], quality: int = 1) -> None:
        """Publishes like a logger, and returns once the broker has acknowledged everything."""
        logger = Client(CallbackAPIVersion.VERSION2)
        logger.max_inflight_messages_set(1000)
        logger.connect("127.0.0.1", self.port)
        logger.loop_start()
        for sent in [logger.publish(topic, payload, qos=quality) for payload in payloads]:
            sent.wait_for_publish(30)
        logger.disconnect()
        logger.loop_stop()


def _free_ports(number: int) -> list[int]:
    probes = [socket.socket() for _ in range(number)]
    for probe in probes:
        probe.bind(("127.0.0.1", 0))
    ports = [int(probe.getsockname()[1]) for probe in probes]
    for probe in probes:
        probe.close()
    return ports
