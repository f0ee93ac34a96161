"""`hazefall recompute`: analyses every trial again, lists the changes, and stores them only on request."""

import argparse

from app.command_line.bench_folder import add_folder_argument, number_of_processes, settings_of_present_bench
from app.command_line.progress_bar import progress_bar

SHOWN = 40


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_folder_argument(parser)
    parser.add_argument(
        "--accept", action="store_true", help="save the new results; changes of more than 0.01%% are recorded"
    )
    parser.add_argument("--who", default="", help="your name, for the history")
    parser.add_argument("--why", default="", help="reason, for the history")
    parser.add_argument("--workers", metavar="N", type=number_of_processes, help="processes (default: one per core)")


def run(arguments: argparse.Namespace) -> int:
    from app.command_line.difference_lines import difference_lines, slightly
    from app.compute.wording.numbers import counted
    from app.services.results.recompute import accept_recompute, plan_recompute
    from app.services.results.rows import SAME_WITHIN
    from app.services.store.open import open_store
    from app.storage.engine import session_scope

    settings = settings_of_present_bench(arguments)
    with progress_bar() as on_progress:
        engine = open_store(settings, on_progress)
        plan = plan_recompute(engine, on_progress, workers=arguments.workers)
    try:
        moved = plan.differences
        print(
            f"{plan.trials} trials re-analysed with method {plan.method_version}; {len(moved)} results change"
            f"{slightly(plan.slight)}"
        )
        if moved and plan.new_of_loggers:
            print(
                f"Added since the last accepted re-analysis: {counted(plan.new_of_loggers, 'trial')}. The noise of "
                "their loggers is now learned from them as well, which changes intervals."
            )
        for line in difference_lines(moved, SHOWN):
            print(f"  {line}")
        if not arguments.accept:
            print("Nothing was saved. Run it again with --accept to save the new results.")
            return 0
        with session_scope(engine) as session:
            accept_recompute(session, plan, who=arguments.who, why=arguments.why)
        print(f"The new results are saved, and every change of more than {SAME_WITHIN:.2%} is recorded.")
    finally:
        engine.dispose()
    return 0
