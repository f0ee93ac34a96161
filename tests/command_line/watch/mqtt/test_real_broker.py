"""Readings over a real broker: to the trial of an upload, and through everything that can be away for a while."""

import gc
import json
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest
from fastapi.testclient import TestClient
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from app.command_line.main import run
from app.command_line.watch.bench_client import Refused
from app.command_line.watch.mqtt.address import topic_at
from app.command_line.watch.mqtt.subscription import Access
from app.command_line.watch.mqtt.topic_follower import TopicFollower
from app.services.adding_trials.live_runs.run import CLOSED_AFTER
from app.storage.engine import session_scope
from app.storage.models.live_runs import LiveRun
from tests.command_line.watch.mqtt.real_broker import PASSWORD, USER, Broker
from tests.command_line.watch.test_follow import Bench
from tests.conftest import SmallBench, decay_log, sqlite_only

pytestmark = sqlite_only
TOPIC = "lab/room-a/logger-1"
WITHIN_S = 30.0


@pytest.fixture(scope="module")
def running_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Broker]:
    broker = Broker(tmp_path_factory.mktemp("broker"))
    yield broker
    broker.stop()


@pytest.fixture
def broker(running_broker: Broker) -> Broker:
    if running_broker.process is None:
        running_broker.start()
    return running_broker


@pytest.fixture
def bench(client: TestClient) -> Bench:
    return Bench(client)


@pytest.fixture
def follow(broker: Broker, bench: Bench, small_bench: SmallBench) -> Iterator[Callable[..., TopicFollower]]:
    made: list[TopicFollower] = []

    def follower(said: list[str] | None = None, access: Access | None = None, address: str = "") -> TopicFollower:
        given = {"room": "Room A", "maker": "Maker A", "model": "Model 1", "setting": "high", "kind": "unit running"}
        topic = topic_at(address or f"mqtt://127.0.0.1:{broker.port}/{TOPIC}")
        say = (said if said is not None else []).append
        made.append(
            TopicFollower(
                client=bench,  # type: ignore[arg-type]
                topic=topic,
                access=access or Access(),
                conditions=given,
                columns={},
                say=say,
            )
        )
        return made[-1]

    yield follower
    for each in made:
        each._is_over = True
        each.close()


def messages(log: bytes) -> list[bytes]:
    """One message for each line of a log."""
    header, *lines = log.decode().splitlines()
    names = ["time", *header.split(",")[1:]]
    return [
        json.dumps({"time": time, **dict(zip(names[1:], map(float, levels), strict=True))}).encode()
        for time, *levels in (line.split(",") for line in lines)
    ]


def until(follower: TopicFollower, readings: int) -> None:
    """Looks at the topic until the run has so many readings."""
    end = time.monotonic() + WITHIN_S
    while time.monotonic() < end:
        if follower.step() and stored(follower) >= readings:
            return
        time.sleep(0.1)
    raise AssertionError(f"{stored(follower)} readings arrived in place of {readings}")


def until_said(follower: TopicFollower, said: list[str], words: str) -> None:
    end = time.monotonic() + WITHIN_S
    while not any(words in line for line in said):
        assert time.monotonic() < end, said
        follower.step()
        time.sleep(0.02)


def stored(follower: TopicFollower) -> int:
    return int(follower.client.get(f"/api/runs/{follower.run_id}")["readings"])


def follows(follower: TopicFollower, broker: Broker, first: bytes) -> None:
    """Looks until the broker has confirmed the subscription, before which it keeps nothing, and then for a reading."""
    say, heard = follower.say, list[str]()

    def also_heard(words: str) -> None:
        heard.append(words)
        say(words)

    follower.say = also_heard
    until_said(follower, heard, f"Following {TOPIC} at 127.0.0.1:")
    broker.publish(TOPIC, [first])
    until(follower, 1)


def test_repeated_readings_in_any_order_become_the_trial_of_an_upload(
    bench: Bench, broker: Broker, follow: Callable[..., TopicFollower], small_bench: SmallBench
):
    """Each message arrives once or twice, in a random order; the trial has every number of an upload of the file."""
    log = decay_log(6.0, minutes=60)
    sent = messages(log)
    said: list[str] = []
    follower = follow(said)
    follows(follower, broker, sent[0])
    any_order = Random(1)
    lots = sent + any_order.sample(sent, 100) + [b"[" + b",".join(sent[:50]) + b"]", b"no reading"]
    any_order.shuffle(lots)
    broker.publish(TOPIC, lots)
    until(follower, len(sent))
    until_said(follower, said, f"{TOPIC}: a message was refused. Found no reading, which is not JSON; expected")
    run_now = bench.client.get(f"/api/runs/{follower.run_id}").json()
    assert (run_now["readings"], run_now["conflicts"], run_now["source"]) == (len(sent), 0, "posted")
    trial = bench.client.get(f"/api/trials/{follower.finish()}").json()
    upload = {"unit_under_test_id": small_bench.unit_id, "setting_id": small_bench.low_setting_id, "room_id": 1}
    uploaded = bench.client.post("/api/trials", data=upload, files={"log": ("room.csv", log)}).json()
    for same in ("channels", "marks", "started_at"):
        assert trial[same] == uploaded[same]
    assert {**trial["log"], "sha256": 0, "file_name": 0} == {**uploaded["log"], "sha256": 0, "file_name": 0}
    follower._is_over = False
    with pytest.raises(Refused, match=rf"^Live run {follower.run_id} was finished as trial {trial['id']}\.$"):
        follower.step()


def test_a_command_that_was_killed_and_a_gap_of_ten_minutes_lose_nothing(
    bench: Bench, broker: Broker, follow: Callable[..., TopicFollower]
):
    """A reading a second for ten minutes while nobody listens, then while the bench does not answer."""
    sent = messages(decay_log(6.0, minutes=30, interval_s=1.0))
    first = follow()
    follows(first, broker, sent[0])
    assert first._subscription is not None
    first._subscription._client._sock_close()  # as kill -9: nothing is said to the broker
    first._subscription._client.loop_stop()
    broker.publish(TOPIC, sent[1:601])
    again = follow()
    bench.down = False
    until(again, 601)
    assert again.run_id == first.run_id
    bench.down = True
    broker.publish(TOPIC, sent[601:900])
    said: list[str] = []
    again.say = said.append
    until_said(again, said, "The readings wait at the broker, and are sent once it answers.")
    assert not again.all_sent
    bench.down, bench.answers_lost = False, True
    again.step()
    bench.answers_lost = False
    until(again, 900)
    assert bench.client.get(f"/api/runs/{again.run_id}").json()["conflicts"] == 0


def test_a_broker_that_starts_again_loses_nothing(bench: Bench, broker: Broker, follow: Callable[..., TopicFollower]):
    sent = messages(decay_log(6.0, minutes=10))
    said: list[str] = []
    follower = follow(said)
    follows(follower, broker, sent[0])
    bench.down = True
    broker.publish(TOPIC, sent[1:20])
    until_said(follower, said, "The readings wait at the broker")
    broker.stop()
    until_said(follower, said, f"The connection to the broker 127.0.0.1:{broker.port} was lost")
    broker.start()
    broker.publish(TOPIC, sent[20:40])
    bench.down = False
    until(follower, 40)
    assert not any("kept nothing" in words for words in said)


def test_a_closed_run_is_followed_by_a_new_one(
    bench: Bench, broker: Broker, follow: Callable[..., TopicFollower], client: TestClient
):
    sent = messages(decay_log(6.0, minutes=10))
    said: list[str] = []
    follower = follow(said)
    follows(follower, broker, sent[0])
    first = follower.run_id
    engine = client.app_state["engine"]
    with session_scope(engine) as session:
        silent = session.get_one(LiveRun, first)
        silent.last_heard_at -= CLOSED_AFTER + timedelta(minutes=1)
    broker.publish(TOPIC, sent[1:3])
    until_said(follower, said, f"Live run {first} was closed at")
    broker.publish(TOPIC, sent[3:4])
    until(follower, 3)
    assert follower.run_id != first
    assert bench.client.get(f"/api/runs/{first}").json()["readings"] == 1


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the library leaves that socket open
def test_a_user_and_the_certificate_of_the_broker_are_checked(
    bench: Bench, broker: Broker, follow: Callable[..., TopicFollower]
):
    address = f"mqtts://127.0.0.1:{broker.tls_port}/{TOPIC}"
    with pytest.raises(Refused, match=r"^The certificate of the broker .* name its file in HAZEFALL_MQTT_CA\.$"):
        follow(access=Access(USER, PASSWORD), address=address).step()
    gc.collect()
    stranger = follow(access=Access(USER, "guessed", str(broker.authority)), address=address)
    with pytest.raises(Refused, match=r"refuses the connection .* Set HAZEFALL_MQTT_USER and HAZEFALL_MQTT_PASSWORD"):
        until(stranger, 1)
    known = follow(access=Access(USER, PASSWORD, str(broker.authority)), address=address)
    follows(known, broker, messages(decay_log(6.0, minutes=10))[0])
    assert PASSWORD not in repr(known.access)


def test_another_command_on_the_same_run_is_noticed(broker: Broker, follow: Callable[..., TopicFollower]):
    """This broker ends the older connection without a reason, so both commands take it from each other."""
    sent = messages(decay_log(6.0, minutes=10))
    said: list[str] = []
    one, other = follow(said), follow()
    follows(one, broker, sent[0])
    other.step()
    until_said(one, said, f"If another watch command follows {TOPIC} into the same run, stop one of them.")


def test_a_broker_that_says_so_ends_the_older_command(follow: Callable[..., TopicFollower]):
    follower = follow()
    follower.step()
    assert follower._subscription is not None
    taken_over = ReasonCode(PacketTypes.DISCONNECT, identifier=142)
    follower._subscription._disconnected(None, None, None, taken_over, None)  # type: ignore[arg-type]
    with pytest.raises(Refused, match=r"^The broker gave this session to another client\. If another watch command"):
        follower.step()


@pytest.mark.parametrize(
    ("address", "more", "words"),
    [
        ("mqtt://localhost/", [], "The address of the topic is 'mqtt://localhost/'; enter mqtt://HOST/TOPIC"),
        ("mqtt://localhost/lab", ["--box", "B"], "--box is for files; the readings of a topic have their time zone"),
    ],
)
def test_wrong_arguments_are_refused(
    address: str, more: list[str], words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    assert run(["watch", address, "--room", "A", "--data", str(tmp_path), *more]) == 2
    assert words in capsys.readouterr().err


def test_a_wrong_file_of_certificates_and_a_missing_library_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    asked = ["watch", "mqtts://localhost/lab", "--room", "A", "--data", str(tmp_path)]
    monkeypatch.setenv("HAZEFALL_MQTT_CA", str(tmp_path / "none.pem"))
    assert run(asked) == 2
    assert "which is not a file. Name a file of certificates." in capsys.readouterr().err
    monkeypatch.setattr("app.command_line.watch.command.find_spec", lambda _name: None)
    assert run(asked) == 2
    assert "MQTT needs the library paho-mqtt. Install it with: pip install paho-mqtt" in capsys.readouterr().err
