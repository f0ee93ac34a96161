"""`hazefall publish`: writes the bench as static pages for any web host."""

import argparse
import time
from pathlib import Path

from app.command_line.bench_folder import add_folder_argument, settings_of_present_bench
from app.command_line.progress_bar import progress_bar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("out", metavar="OUT", type=Path, help="output folder; unchanged files are kept")
    parser.add_argument("--base-url", metavar="URL", default="", help="URL of the site, for the feed links")
    parser.add_argument("--workers", metavar="N", type=int, help="processes (default: one per core)")
    add_folder_argument(parser)


def run(arguments: argparse.Namespace) -> int:
    from app.services.store.open import open_store
    from app.web.published.publish import publish  # loaded when used: it draws

    began = time.monotonic()
    with progress_bar() as on_progress:
        engine = open_store(settings_of_present_bench(arguments), on_progress)
        try:
            done = publish(engine, arguments.out, on_progress, base_url=arguments.base_url, workers=arguments.workers)
        finally:
            engine.dispose()
    print(
        f"{arguments.out}: {done.written} files written, {done.unchanged} unchanged, {done.removed} removed, "
        f"in {time.monotonic() - began:.1f} s"
    )
    for path in done.kept_foreign:
        print(f"note: {path} is no longer part of the site, but it was modified by someone else; it was kept.")
    return 0
