"""Search of the command `stage`: goals in, ranked stages out.

Stage: cli. In: parsed arguments. Out: the ranking in words or JSON, a picture of the front, stage files on demand.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from psgmodel.cli.folders import make_folder
from psgmodel.cli.progress import progress
from psgmodel.cli.screen import Screen

if TYPE_CHECKING:
    from psgmodel.output_stage.search import Search


def run_search(arguments: argparse.Namespace, screen: Screen) -> int:
    """Search and say what was found; 1 where nothing meets the goals."""
    from psgmodel.output_stage.search import load_goals, search
    from psgmodel.output_stage.stage.remarks import CURRENT, DIRECT, SUPPLY
    from psgmodel.report.plots import check_picture_name
    from psgmodel.report.stage import cautions_text
    from psgmodel.report.stage_search import search_json, search_text

    if arguments.picture:
        check_picture_name(arguments.picture)
    goals = load_goals(arguments.search)
    with progress(screen, "searching", 1.0) as bar:
        found = search(goals, lambda what, part: bar.update(part))
    kept = _keep(arguments.keep, found) if arguments.keep else []
    text, result = search_text(found, kept), search_json(found, kept)
    if arguments.picture or not arguments.figures_only:
        from psgmodel.report.stage_search_picture import search_picture

        path = arguments.picture or str(make_folder("out") / f"{Path(arguments.search).stem}.png")
        search_picture(path, found)
        text += f"\npicture  {path}\n"
        result["picture"] = path
    cautions = [DIRECT, CURRENT, SUPPLY]
    screen.say_block(text + cautions_text(cautions))
    screen.result(search=result, cautions=cautions)
    return 0 if found.found else 1


def _keep(folder: str, found: Search) -> list[str]:
    """Write the stages that meet the goals as stage files, in rank."""
    from psgmodel.output import write_text_whole
    from psgmodel.output_stage.search import stage_toml

    where = make_folder(folder)
    paths = []
    for rank, one in enumerate(found.found, start=1):
        path = str(where / f"found-{rank:02d}.toml")
        write_text_whole(path, stage_toml(one.stage))
        paths.append(path)
    return paths
