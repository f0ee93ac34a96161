"""`hazefall demo`: creates the invented demonstration bench once, in its own folder, and serves it."""

import argparse

from app.command_line.access.entry import has_screen
from app.command_line.bench_folder import (
    add_address_arguments,
    add_browser_argument,
    add_folder_argument,
    naming_options,
    settings_from,
)
from app.command_line.progress_bar import progress_bar


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser, default="a folder of its own beside your data folder")
    add_address_arguments(parser)
    add_browser_argument(parser)
    parser.add_argument("--only-make", action="store_true", help="create the demo bench without serving it")


def run(arguments: argparse.Namespace) -> int:
    from app.command_line.serve import serve
    from app.services.store.open import open_store
    from seed_demo.build import build_demo

    settings = settings_from(arguments, "demo")
    with progress_bar() as on_progress:
        engine = open_store(settings, on_progress)
        try:
            build_demo(engine, on_progress)
        finally:
            engine.dispose()
    if arguments.only_make:
        print(f"The demonstration bench (invented data) is in {settings.data_folder}")
        return 0
    opens_browser = not arguments.no_browser and has_screen()
    return serve(
        settings,
        "Hazefall serves the demonstration bench (invented data) in",
        opens_browser=opens_browser,
        bench=naming_options(arguments, "--demo"),
    )
