"""`hazefall watch`: follows a growing log file or folder, or an MQTT topic, as a live run."""

import argparse
import os
import sys
import time
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

from app.command_line.analyse import reading_choices
from app.command_line.bench_folder import add_folder_argument, settings_from
from app.command_line.watch.mqtt.address import is_mqtt_address, topic_at
from app.errors import InvalidValue

if TYPE_CHECKING:
    from app.command_line.watch.follow import Follower
    from app.command_line.watch.mqtt.topic_follower import TopicFollower

# The file is read again after at least this long, and after so many times the time that reading takes, so that
# following needs little of a processor however long the log is.
_LOOK_EVERY_S = 2.0
_REST = 25.0
_SAYS_AT_MOST_EVERY_S = 60.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "path", metavar="PATH", help="log file that grows, folder of such files, or topic such as mqtts://HOST/TOPIC"
    )
    parser.add_argument("--room", metavar="NAME", required=True, help="room of the run")
    parser.add_argument("--maker", metavar="NAME", default="", help="maker of the unit")
    parser.add_argument("--model", metavar="NAME", default="", help="model of the unit")
    parser.add_argument("--setting", metavar="NAME", default="", help="setting of the unit")
    parser.add_argument("--logger", metavar="NAME", default="", help="logger")
    parser.add_argument("--smoke-source", metavar="NAME", default="", help="smoke source")
    parser.add_argument("--tested-by", metavar="NAME", default="", help="name of the tester")
    parser.add_argument("--filter-state", metavar="NAME", default="", help="state of the filter")
    parser.add_argument("--empty-room", action="store_true", help="an empty-room run, without a unit")
    parser.add_argument(
        "--url", metavar="URL", default="http://127.0.0.1:8000", help="address of the bench (default: %(default)s)"
    )
    parser.add_argument("--token-file", metavar="FILE", type=Path, help="file with an API token of the role “add”")
    parser.add_argument("--timezone", metavar="ZONE", help="time zone of local times, such as Europe/Berlin")
    parser.add_argument(
        "--columns", metavar="COLUMN=CHANNEL", action="append", default=[], help="channel of a column (repeatable)"
    )
    parser.add_argument("--box", metavar="NAME", help="which box or detector, if the file has several")
    parser.add_argument(
        "--finish-after", metavar="MIN", type=float, help="finish after this long without readings [min]"
    )
    parser.add_argument("--finish", action="store_true", help="finish once the whole file has been sent")
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.command_line.watch.bench_client import Refused

    follower = _topic_follower(arguments) if is_mqtt_address(arguments.path) else _file_follower(arguments)
    try:
        return _follow(follower, arguments)
    except Refused as problem:
        _say(f"{problem.message} {follower.unsent_words}".rstrip())
        return 1
    except KeyboardInterrupt:
        if follower.run_id is not None:
            _say(f"Stopped. Live run {follower.run_id} stays open; the same command continues it.")
        return 130
    finally:
        follower.close()


def _file_follower(arguments: argparse.Namespace) -> "Follower":
    from app.command_line.watch.bench_client import BenchClient
    from app.command_line.watch.follow import Follower
    from app.command_line.watch.followed_log import FollowedLog

    log = FollowedLog(Path(arguments.path))
    client = BenchClient(_address(arguments.url), _token(arguments))
    return Follower(
        client=client, log=log, conditions=_conditions(arguments), choices=reading_choices(arguments), say=_say
    )


def _topic_follower(arguments: argparse.Namespace) -> "TopicFollower":
    from app.command_line.watch.bench_client import BenchClient

    for name in ("timezone", "box", "finish"):
        if getattr(arguments, name):
            raise InvalidValue(f"--{name} is for files; the readings of a topic have their time zone, and no end.")
    topic = topic_at(arguments.path)
    if find_spec("paho") is None:
        raise InvalidValue("MQTT needs the library paho-mqtt. Install it with: pip install paho-mqtt")
    from app.command_line.watch.mqtt.subscription import Access  # loaded when used: the library is optional
    from app.command_line.watch.mqtt.topic_follower import TopicFollower

    user, password, authority = (os.environ.get(f"HAZEFALL_MQTT_{name}", "") for name in ("USER", "PASSWORD", "CA"))
    if authority and not Path(authority).is_file():
        raise InvalidValue(f"HAZEFALL_MQTT_CA names {authority!r}, which is not a file. Name a file of certificates.")
    if password and not topic.tls and topic.host not in ("127.0.0.1", "localhost", "::1"):
        _say(f"The password is sent to {topic.broker} unencrypted. Use mqtts:// where the broker offers TLS.")
    return TopicFollower(
        client=BenchClient(_address(arguments.url), _token(arguments)),
        topic=topic,
        access=Access(user, password, authority),
        conditions=_conditions(arguments),
        columns=reading_choices(arguments).columns,
        say=_say,
    )


def _follow(follower: "Follower | TopicFollower", arguments: argparse.Namespace) -> int:
    from app.command_line.watch.bench_client import Unreachable

    quiet_since = told = time.monotonic()
    total = 0
    while True:
        began = time.monotonic()
        sent = follower.step()
        now = time.monotonic()
        total += sent
        if sent:
            quiet_since = now
        if total and now - told >= _SAYS_AT_MOST_EVERY_S:
            _say(f"{total} readings sent to live run {follower.run_id}.")
            told, total = now, 0
        quiet = arguments.finish_after is not None and now - quiet_since >= 60 * arguments.finish_after
        ends = follower.all_sent and not sent and (arguments.finish or quiet)
        if follower.run_id is not None and (follower.file_requested or ends):
            try:
                _say(f"Finished: trial {follower.finish()}.")
                return 0
            except Unreachable as problem:
                _say(f"{problem.message} The run is finished once it answers.")
        time.sleep(max(_LOOK_EVERY_S, _REST * (time.monotonic() - began)))


def _conditions(arguments: argparse.Namespace) -> dict[str, str]:
    names = ("room", "maker", "model", "setting", "logger", "smoke_source", "tested_by", "filter_state")
    given = {name: getattr(arguments, name) for name in names if getattr(arguments, name)}
    return given | {"kind": "empty room" if arguments.empty_room else "unit running"}


def _address(url: str) -> str:
    if not url.startswith(("http://", "https://")):
        raise InvalidValue(f"--url is {url!r}; enter an address such as http://127.0.0.1:8000.")
    return url.rstrip("/")


def _token(arguments: argparse.Namespace) -> str:
    """An API token from a file or the environment, else the secret of the bench in the folder; "" for none."""
    from app.services.access.local_secret import read_secret

    if arguments.token_file is not None:
        return Path(arguments.token_file).read_text(encoding="utf-8").strip()
    return os.environ.get("HAZEFALL_TOKEN", "").strip() or read_secret(settings_from(arguments).data_folder)


def _say(message: str) -> None:
    print(message, file=sys.stderr, flush=True)
