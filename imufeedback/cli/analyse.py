"""``analyse``: the pipeline over a recording, or over many."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import check_writable, given_text, print_next, print_notes, print_reps, say, write_json
from imufeedback.errors import BadToml, UsageError

if TYPE_CHECKING:
    from imufeedback.records import Angles


def analyse(
    paths: Annotated[list[Path], typer.Argument(metavar="FILE|FOLDER…", help="Recordings.", show_default=False)],
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the summary there.")] = None,
    angles_file: Annotated[
        Path | None, typer.Option("--angles", metavar="FILE.csv", help="Write all angles there, in degrees.")
    ] = None,
    filter_name: Annotated[
        str | None, typer.Option("--filter", metavar="NAME", help="Another orientation filter: vqf, madgwick, mahony.")
    ] = None,
    limits_file: Annotated[
        Path | None, typer.Option("--limits", metavar="FILE.toml", help="A player's own limits.", show_default=False)
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that exist.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE.parquet", help="Many: a row a rep.", show_default=False)
    ] = None,
    again: Annotated[bool, typer.Option("--again", help="Many: also those checked already.")] = False,
    workers: Annotated[
        int | None, typer.Option("--workers", metavar="N", min=1, help="Many: processes (one a core).")
    ] = None,
    cluster: Annotated[
        str | None, typer.Option("--cluster", metavar="ADDRESS", help="Many: checked by this Dask scheduler.")
    ] = None,
    library: Annotated[
        Path | None, typer.Option("--library", metavar="DIR", help="Many: whose index to update.", show_default=False)
    ] = None,
) -> None:
    """Check a recording again, print a table of its reps, and write its summary and angles. Of many recordings, keep
    the verdicts beside them, go on where a stopped run ended, and write one table of all reps."""
    many = len(paths) > 1 or paths[0].is_dir() or again or any(one is not None for one in (out, workers, cluster))
    if many and (json_file or angles_file):
        raise UsageError("--json and --angles are of one recording", hint="write the reps of many with --out")
    for path in (json_file, angles_file, out):
        if path is not None:
            check_writable(path, overwrite=overwrite)
    _check_filter(filter_name)
    limits = None if limits_file is None else _limits(limits_file, many=many)
    if not many:
        _one(paths[0], filter_name, limits, json_file=json_file, angles_file=angles_file, overwrite=overwrite)
        return
    from imufeedback.cli.analyse_many import analyse_many
    from imufeedback.review.many import Way

    way = Way(filter_name, limits, again)
    analyse_many(paths, way, out=out, overwrite=overwrite, workers=workers, cluster=cluster, library=library)


def _one(
    file: Path,
    filter_name: str | None,
    limits: str | None,
    *,
    json_file: Path | None,
    angles_file: Path | None,
    overwrite: bool,
) -> None:
    import msgspec

    from imufeedback.document import to_json
    from imufeedback.record.files import shown
    from imufeedback.record.table import write_angles
    from imufeedback.review.judging import judge

    angles: list[Angles] = []
    keep = None if angles_file is None else angles.append
    judged = judge(file, filter_name=filter_name, limits=limits, on_angles=keep)
    for note in judged.recording.notes:
        say(f"{file}: {note}")
    print_notes(judged.told)
    print_reps(judged.told)
    print_next(judged.summary)
    if judged.fit is None:
        say("the recording holds no calibration, so there are no angles")
    if json_file is not None:
        document = msgspec.structs.replace(judged.summary, recording=shown(file))
        write_json(json_file, to_json(document), overwrite=overwrite)
    if angles_file is not None:
        rows = write_angles(angles_file, angles, overwrite=overwrite)
        say(f"{angles_file}: {rows} rows")


def _check_filter(name: str | None) -> None:
    from imufeedback.fusion import available

    if name is not None and name not in available():
        raise UsageError(f"no filter is called {name!r}", hint=f"choose one of {', '.join(available())}")


def _limits(path: Path, *, many: bool) -> str:
    """The text of a limits file, checked. Before many are judged, what no rule set knows is told; of one the judgement
    itself tells."""
    from imufeedback import resources
    from imufeedback.rules import parse_limits, parse_rule_set
    from imufeedback.spelling import nearest

    text = given_text(path, "--limits", "check the name")
    limits = parse_limits(text, str(path))
    if not many:
        return text
    known: set[str] = set()
    for kind in ("rules", "drills"):
        for name in resources.available(kind):
            with suppress(BadToml):  # a bad file of one's own is told where it is used
                known |= {rule.id for rule in parse_rule_set(resources.text(kind, name), name).rules}
    for one in sorted(limits.limits.keys() - known):
        near = nearest(one, known)
        say(f"{path}: no rule is called {one!r}: {f'is {near!r} meant?' if near else 'passed over'}")
    return text
