"""`hazefall publish`: writes the bench as static pages for any web host, as a numbered edition."""

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from app.command_line.bench_folder import add_folder_argument, number_of_processes, settings_of_present_bench
from app.command_line.progress_bar import progress_bar
from app.errors import InvalidValue
from app.settings import Settings

if TYPE_CHECKING:
    from app.web.published.publish import Published


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("out", metavar="OUT", type=Path, help="output folder; files of your own in it stay")
    parser.add_argument("--base-url", metavar="URL", default="", help="URL of the site, for absolute links")
    parser.add_argument("--edition", metavar="N", type=int, help="write edition N again from the store, byte for byte")
    parser.add_argument(
        "--precompress", action="store_true", help="add compressed copies (gzip and brotli) for the host"
    )
    parser.add_argument("--sign", metavar="KEY", type=Path, help="sign the edition with an SSH key (needs ssh-keygen)")
    parser.add_argument("--workers", metavar="N", type=number_of_processes, help="processes (default: one per core)")
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.open import open_store
    from app.web.published.publish import Finish, publish, publish_again  # loaded when used: it draws

    settings = settings_of_present_bench(arguments)
    _refuse_folder_of_bench(arguments.out, settings)
    began = time.monotonic()
    finish = Finish(arguments.sign, arguments.precompress)
    with progress_bar() as on_progress:
        engine = open_store(settings, on_progress)
        try:
            if arguments.edition is not None:
                done = publish_again(engine, arguments.out, arguments.edition, on_progress, finish=finish)
            else:
                done = publish(
                    engine,
                    arguments.out,
                    on_progress,
                    base_url=arguments.base_url,
                    workers=arguments.workers,
                    finish=finish,
                )
        finally:
            engine.dispose()
    print(
        f"{arguments.out}: {done.folder.written} files written, {done.folder.unchanged} unchanged, "
        f"in {time.monotonic() - began:.1f} s"
    )
    print(_edition_words(done, again=arguments.edition is not None))
    for path in done.folder.kept_foreign:
        print(f"note: {path} is no longer part of the site, but it was modified by someone else; it was kept.")
    for failure in done.failures:
        print(f"hazefall publish: {failure.what} failed: {failure.why}", file=sys.stderr)
    if done.failures:
        print(
            "hazefall publish: these pages or charts are as in the edition before, or missing; the rest is published.",
            file=sys.stderr,
        )
    return 1 if done.failures else 0


def _refuse_folder_of_bench(out: Path, settings: Settings) -> None:
    """The site would be uploaded with the store and the secret, and a server could not go on writing there."""
    if settings.data_folder.resolve().is_relative_to(out.resolve()):
        raise InvalidValue(
            f"{out} holds the bench itself, which must not be published: its folder is {settings.data_folder}. Choose "
            "another folder, such as one inside it."
        )


def _edition_words(done: "Published", *, again: bool) -> str:
    digest = f"Digest (SHA-256 of edition.json): {done.digest}"
    if again:
        return f"Edition {done.edition} of {done.day}, as it was published. {digest}"
    if not done.is_new:
        return f"Nothing has changed since edition {done.edition} of {done.day}, so there is no new edition. {digest}"
    moved = "the first" if done.edition == 1 else f"{done.moved} numbers moved, {done.pages} files differ"
    return (
        f"Edition {done.edition} of {done.day}: {done.numbers} published numbers, {moved}. {digest}\n"
        f"Freezing it added {done.frozen.contents} files with {done.frozen.bytes:,} bytes to the store."
    )
