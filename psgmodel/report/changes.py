"""Changes: what a suspect changes and how much it explains, in words.

Stage: report. In: changes of a description, suspects. Out: text. A change is worded as the description writes it:
``channel.noise.register.taps = [17, 11]``.
"""

from __future__ import annotations

from psgmodel.diagnose.changes import Change
from psgmodel.diagnose.edits import Edit
from psgmodel.diagnose.suspicion import Suspect


def change_text(change: Change) -> str:
    """Return a change after "as if": what is said, instead of what, and in which channels."""
    if change.wording:
        return change.wording
    told: dict[tuple[str, str, str], list[str]] = {}
    for edit in change.edits:
        key, new, old = edit.told()
        channel = _channel(edit)
        common = key.replace(f"channel.{channel}.", "", 1) if channel else key
        told.setdefault((common, new, old), []).append(channel)
    if all(len(channels) == 1 for channels in told.values()):
        parts = [_instead(*edit.told()) for edit in change.edits]
        return " and ".join(parts)
    parts = [f"{_instead(*said)} in the channels {_listed(channels)}" for said, channels in told.items()]
    return " and ".join(parts)


def _channel(edit: Edit) -> str:
    return str(edit.path[1]) if edit.path[0] == "channels" else ""


def _instead(key: str, new: str, old: str) -> str:
    if new == "left out":
        return f"`{key}` were left out"
    return f"`{key} = {new}` instead of `{old}`"


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def suspect_text(suspect: Suspect) -> str:
    """Return the changes of a suspect after "as if"."""
    return ", and ".join(change_text(change) for change in suspect.changes)


def share_text(suspect: Suspect) -> str:
    """Return how much a suspect explains."""
    total = suspect.explained + suspect.left
    if suspect.complete:
        return f"explains all {total:,} differing cycles"
    share = 100 * suspect.share
    shown = f"{share:.3g}" if share < 99.5 else f"{min(share, 99.99):.2f}"
    return f"explains {suspect.explained:,} of {total:,} differing cycles ({shown} %)"
