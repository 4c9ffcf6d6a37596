"""`jointrisk rank`: which variable matters."""

from __future__ import annotations

from jointrisk.cli.shared import (
    File,
    Jobs,
    Json,
    NoColor,
    Option,
    Out,
    Quiet,
    Seed,
    Verbose,
    pool_of,
    report_folder,
    save_report,
    show_answer,
    working,
)


def command(
    file: File,
    option: Option = None,
    seed: Seed = None,
    out: Out = None,
    json: Json = False,
    jobs: Jobs = 1,
    quiet: Quiet = False,
    verbose: Verbose = 0,
    no_color: NoColor = False,
) -> None:
    """Say what the failure probability hangs on, and what it would bring to know more.

    What scatters and what is not known are told apart.
    """
    import jointrisk

    folder = report_folder(file, option, out, json)
    scenario = jointrisk.load(file, option=option)
    working(quiet=quiet)
    with pool_of(jobs) as pool:
        result = jointrisk.rank(scenario, seed=seed, pool=pool)
    show_answer(result, "rank_text", json=json, plain=no_color, verbose=verbose)
    save_report(result, folder, quiet=quiet)
