"""Coverage page: one HTML file that shows every behaviour as a tile.

Stage: report. In: a `Coverage`. Out: HTML text that needs nothing else: no script, no network, light or dark as the
reader's screen is. Colour never tells alone: what is missing is listed too.
"""

from __future__ import annotations

from html import escape

from psgmodel.coverage.bins import Bin
from psgmodel.coverage.results import Coverage
from psgmodel.report.coverage import by_part, percent
from psgmodel.report.layout import counted

FEW = 40
"""Missing behaviours that are listed without being asked."""

MANY = 8
"""More rows than this, none of them longer, stand in columns."""

_STYLE = """
:root { --back: #fbfaf7; --card: #ffffff; --ink: #23262b; --faint: #6d7480; --line: #e3e0d8;
  --hit: #2f7d5b; --soft: #cfe5da; --miss: #c8452f; --out: #d9d6cd; }
@media (prefers-color-scheme: dark) {
  :root { --back: #16181c; --card: #1e2126; --ink: #e8e6e1; --faint: #9aa1ac; --line: #30343b;
    --hit: #5bb58c; --soft: #24443a; --miss: #ef7a63; --out: #3a3e46; } }
* { box-sizing: border-box; }
body { margin: 0; background: var(--back); color: var(--ink); font: 16px/1.5 system-ui, sans-serif; }
main { max-width: 66rem; margin: 0 auto; padding: 2.5rem 1.5rem 4rem; }
h1 { font-size: 1.5rem; font-weight: 600; margin: 0 0 .25rem; }
h2 { font-size: 1.05rem; font-weight: 600; margin: 0; }
p { margin: .25rem 0; } .faint { color: var(--faint); }
.big { display: flex; align-items: baseline; gap: 1rem; margin: 1.5rem 0 .5rem; }
.big strong { font-size: 3.2rem; font-weight: 650; letter-spacing: -.02em; line-height: 1; }
.bar { height: .55rem; border-radius: 1rem; background: var(--soft); overflow: hidden; }
.bar i { display: block; height: 100%; background: var(--hit); border-radius: 1rem; }
.key { display: flex; flex-wrap: wrap; gap: 1.5rem; margin: 1rem 0 2rem; font-size: .875rem; color: var(--faint); }
.key .t { margin-right: .45rem; vertical-align: -.1rem; }
section { background: var(--card); border: 1px solid var(--line); border-radius: .6rem; padding: 1.1rem 1.25rem;
  margin: 0 0 1rem; }
.head { display: flex; align-items: baseline; justify-content: space-between; gap: 1rem; margin-bottom: .7rem; }
.columns { columns: 15rem 4; column-gap: 1.5rem; } .columns .row { break-inside: avoid; }
.row { display: grid; grid-template-columns: 9.5rem 1fr; gap: .75rem; align-items: start; padding: .16rem 0; }
.row > span { color: var(--faint); font-size: .875rem; overflow-wrap: anywhere; }
.tiles { display: flex; flex-wrap: wrap; gap: 3px; padding-top: .25rem; }
.t { width: .95rem; height: .95rem; border-radius: 3px; background: var(--hit); display: inline-block; }
.t.miss { background: transparent; border: 2px solid var(--miss); }
.t.out { border: 1px solid var(--out);
  background: repeating-linear-gradient(45deg, var(--out) 0 2px, transparent 2px 5px); }
table { width: 100%; border-collapse: collapse; font-size: .9rem; }
td { padding: .45rem .75rem .45rem 0; border-top: 1px solid var(--line); vertical-align: top; overflow-wrap: anywhere; }
td:first-child { width: 16rem; font-family: ui-monospace, monospace; font-size: .82rem; padding-top: .55rem; }
details summary { cursor: pointer; font-weight: 600; }
details[open] summary { margin-bottom: .6rem; }
@media (max-width: 40rem) { .row { grid-template-columns: 1fr; gap: 0; } td:first-child { width: auto; } }
@media print { section { break-inside: avoid; } }
"""


def coverage_page(coverage: Coverage) -> str:
    """Return the page."""
    reachable, missing = len(coverage.reachable), len(coverage.missing)
    logs = counted(len(coverage.logs), "log")
    parts = "".join(_part(coverage, part, bins) for part, bins in by_part(coverage).items())
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{escape(coverage.chip)}: coverage</title>
<style>{_STYLE}</style>
</head>
<body>
<main>
<h1>What {escape(coverage.chip)} was made to do</h1>
<p class="faint">{logs}, {coverage.writes:,} writes, at least {coverage.spacing} cycles apart where reach is judged</p>
<div class="big"><strong>{percent(coverage.share)}</strong>
<span>{reachable - missing} of {reachable} behaviours within reach</span></div>
{_bar(coverage.share)}
<p class="key"><span><i class="t"></i>hit</span><span><i class="t miss"></i>missing</span>
<span><i class="t out"></i>out of reach</span><span>Point at a tile to read what it is.</span></p>
{parts}{_list("Missing", coverage.missing, opened=missing <= FEW)}{_list("Out of reach, and why", coverage.unreachable)}
{_logs(coverage)}</main>
</body>
</html>
"""


def _bar(share: float) -> str:
    return f'<div class="bar"><i style="width:{100 * share:.2f}%"></i></div>'


def _part(coverage: Coverage, part: str, bins: list[Bin]) -> str:
    """Return the tiles of a channel or of a part of the unit, a row for each block."""
    rows: dict[str, list[Bin]] = {}
    for b in bins:
        words = b.name.split(".")[1:]
        rows.setdefault(words[0].partition("=")[0] if len(words) > 1 or "=" in b.name else "", []).append(b)
    reachable = [b for b in bins if not b.unreachable]
    hit = sum(1 for b in reachable if coverage.count(b))
    share = percent(hit / len(reachable)) if reachable else "out of reach"
    text = f'<section><div class="head"><h2>{escape(part)}</h2><span class="faint">{share}</span></div>'
    many = len(rows) > MANY and max(len(found) for found in rows.values()) <= MANY
    text += f'<div class="{"rows columns" if many else "rows"}">'
    for block, found in rows.items():
        tiles = "".join(_tile(coverage, b) for b in found)
        text += f'<div class="row"><span>{escape(block)}</span><div class="tiles">{tiles}</div></div>'
    return text + "</div></section>\n"


def _tile(coverage: Coverage, b: Bin) -> str:
    count = coverage.count(b)
    kind = "t out" if b.unreachable else "t" if count else "t miss"
    told = b.unreachable or (counted(count, "time") if count else "missing")
    title = escape(f"{b.name}\n{b.text}\n{told}", quote=True)
    return f'<i class="{kind}" role="img" aria-label="{title}" title="{title}"></i>'


def _list(title: str, bins: tuple[Bin, ...], *, opened: bool = False) -> str:
    if not bins:
        return ""
    rows = "".join(
        f"<tr><td>{escape(b.name)}</td><td>{escape(b.text)}<br>"
        f'<span class="faint">{escape(b.unreachable or b.how)}</span></td></tr>'
        for b in bins
    )
    state = " open" if opened else ""
    return (
        f"<section><details{state}><summary>{escape(title)} ({len(bins)})</summary><table>{rows}</table></details>"
        "</section>\n"
    )


def _logs(coverage: Coverage) -> str:
    rows = "".join(f"<tr><td>{escape(log.name)}</td><td>{log.writes:,} writes</td></tr>" for log in coverage.logs)
    return (
        f"<section><details><summary>Logs ({len(coverage.logs)})</summary><table>{rows}</table></details></section>\n"
    )
