"""What every `load` of a table has in common: mapping, suggestion, preview, all or none, refused rows, report."""

import argparse
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

import orjson

from registry.commands.loading_site import add_site_arguments, open_loading_site
from registry.commands.session import open_site
from registry.db import Connection, Database
from registry.errors import Invalid
from registry.intake.bindings import bindings
from registry.intake.mapping_file import read_mapping
from registry.intake.model import Column, FileMapping, FileUnreadable, IntakeReport, Table
from registry.intake.refused import WORKBOOK_ENDINGS, refused_file
from registry.intake.suggestion import Draft, suggested_mapping
from registry.intake.tables import read_table
from registry.sites.model import Site, SiteUnknown

MOST_LINES_SHOWN = 20

Load = Callable[[Connection, Table, FileMapping, bool, date], IntakeReport]  # …, keep_valid, today


@dataclass(frozen=True, slots=True, kw_only=True)
class TableKind:
    """One kind of table that can be loaded.

    `columns` of the site (or without one) are what `--suggest` matches. `preview` may do less than loading and rolling
    back. `after` runs in the same transaction once something was loaded, and says what it did.
    """

    name: str
    columns: Callable[[Connection | None], Sequence[Column]]
    load: Load
    preview: Load | None = None
    after: Callable[[Connection, IntakeReport, date], str | None] | None = None


class FileRefused(Invalid):
    """The file was refused: nothing of it was loaded"""

    slug = "file-refused"


def add_table_arguments(parser: argparse.ArgumentParser, kinds: Sequence[TableKind]) -> None:
    """The arguments that loading a table takes; with several kinds, `--kind` says which, or the headings do."""
    parser.add_argument("file", type=Path, metavar="FILE", help="CSV or a workbook, one row each")
    parser.add_argument("--mapping", type=Path, metavar="M", help="mapping file (TOML): the file's headings to ours")
    if len(kinds) > 1:
        parser.add_argument("--kind", choices=[kind.name for kind in kinds], help="default: what the headings tell")
    doing = parser.add_mutually_exclusive_group()
    doing.add_argument("--suggest", action="store_true", help="print a drafted mapping file to confirm; load nothing")
    doing.add_argument("--preview", action="store_true", help="show what would change; load nothing")
    parser.add_argument(
        "--keep-valid", action="store_true", help="load the rows without a fault even if others have one"
    )
    parser.add_argument(
        "--refused-to",
        type=Path,
        metavar="F",
        help="write the refused rows here (.csv or .xlsx), to correct and load again",
    )
    parser.add_argument("--json", action="store_true", help="print the report as JSON")
    add_site_arguments(parser)
    parser.set_defaults(run=partial(load_table, kinds=kinds))


def load_table(parsed: argparse.Namespace, kinds: Sequence[TableKind]) -> int:
    """Do what the arguments of `add_table_arguments` say, and return the exit status."""
    if parsed.suggest:
        print(_suggestion(parsed, kinds), end="")
        return 0
    today = datetime.now().astimezone().date()
    mapping = read_mapping(parsed.mapping) if parsed.mapping else FileMapping()
    _tell(f"reading {parsed.file}")
    table = read_table(parsed.file, mapping)
    with open_loading_site(parsed) as (database, site):
        report, written = _loaded(parsed, kinds, database, site, table, mapping, today)
    refused_whole = not report.loaded and not parsed.preview
    if parsed.json:
        sys.stdout.write(orjson.dumps(report, option=orjson.OPT_INDENT_2).decode() + "\n")
        return 1 if refused_whole else 0
    if refused_whole:
        for note in written:
            print(note, file=sys.stderr)
        raise FileRefused(_refusal(report, parsed.keep_valid), report.issues)
    for line in (*report_lines(report, preview=parsed.preview), *written):
        print(line)
    return 0


def report_lines(report: IntakeReport, *, preview: bool) -> list[str]:
    """A report for reading: the counts, the notes, the first differences and faults."""
    would = "would be " if preview else ""
    lines = [
        f"{report.source_name}: {report.rows_read:,} rows read; {report.added:,} {would}added, "
        f"{report.changed:,} {would}changed, {report.unchanged:,} unchanged, {report.refused:,} refused"
    ]
    lines += [f"  {note}" for note in report.notes]
    shown = report.differences[:MOST_LINES_SHOWN]
    lines += [f"  row {d.row}, {d.key}: {d.column} {_shown(d.old)} -> {_shown(d.new)}" for d in shown]
    if report.differences_total > len(shown):
        lines.append(f"  … and {report.differences_total - len(shown):,} values more")
    lines += [f"  {issue}" for issue in report.issues[:MOST_LINES_SHOWN]]
    if len(report.issues) > MOST_LINES_SHOWN:
        lines.append(f"  … and {len(report.issues) - MOST_LINES_SHOWN:,} faults more (--json lists them all)")
    return lines


def _loaded(
    parsed: argparse.Namespace,
    kinds: Sequence[TableKind],
    database: Database,
    site: Site,
    table: Table,
    mapping: FileMapping,
    today: date,
) -> tuple[IntakeReport, list[str]]:
    with database.transaction(site.site_id) as connection:
        kind = _kind(parsed, kinds, connection, table, mapping)
        doing = (kind.preview or kind.load) if parsed.preview else kind.load
        _tell(f"checking {table.cells.height:,} rows and {'comparing' if parsed.preview else 'loading'} them")
        report = doing(connection, table, mapping, parsed.keep_valid, today)
        said: list[str] = []
        if parsed.preview:
            connection.rollback()
            return replace(report, loaded=False), said
        if report.changes and kind.after is not None and (told := kind.after(connection, report, today)):
            said.append(told)
        # Before the commit: if the refused rows cannot be written, nothing is loaded.
        if report.refused and (parsed.refused_to or (parsed.keep_valid and report.loaded)):
            path = parsed.refused_to or _free_path(parsed.file)
            _write(
                path, refused_file(table, report.issues, mapping, as_workbook=path.suffix.lower() in WORKBOOK_ENDINGS)
            )
            said.append(
                f"{report.refused:,} refused rows are in {path}: correct them, and load it with the same mapping"
            )
        return report, said


def _kind(
    parsed: argparse.Namespace, kinds: Sequence[TableKind], connection: Connection, table: Table, mapping: FileMapping
) -> TableKind:
    if len(kinds) == 1:
        return kinds[0]
    if parsed.kind:
        return next(kind for kind in kinds if kind.name == parsed.kind)
    fitting: list[TableKind] = []
    for kind in kinds:
        try:
            bindings(table, kind.columns(connection), mapping)
        except Invalid:
            continue
        fitting.append(kind)
    if len(fitting) == 1:
        return fitting[0]
    told = "fit none" if not fitting else f"fit {' and '.join(kind.name for kind in fitting)}"
    raise FileRefused(
        f"the headings of {table.source_name} {told}: say --kind, one of {', '.join(k.name for k in kinds)}"
    )


def _suggestion(parsed: argparse.Namespace, kinds: Sequence[TableKind]) -> str:
    if asked := getattr(parsed, "kind", None):
        kinds = [kind for kind in kinds if kind.name == asked]
    try:
        with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
            columns = [kind.columns(connection) for kind in kinds]
            connection.rollback()
    except SiteUnknown:
        columns = [kind.columns(None) for kind in kinds]  # a mapping can be drafted before there is a site at all
    drafts: list[Draft] = []
    nothing_alike: FileUnreadable | None = None
    for wanted in columns:
        try:
            drafts.append(suggested_mapping(parsed.file, wanted))
        except FileUnreadable as exc:
            nothing_alike = exc
    if not drafts and nothing_alike is not None:
        raise nothing_alike
    return min(drafts, key=lambda draft: (len(draft.missing), -len(draft.mapping.columns))).text


def _refusal(report: IntakeReport, keep_valid: bool) -> str:
    counted = f"{report.refused:,} of {report.rows_read:,} rows of {report.source_name} have a fault"
    if not report.issues:
        return f"{report.source_name} has no rows below its headings"
    if keep_valid:
        return f"{counted}, and none is without one; nothing was loaded"
    return f"{counted}; nothing was loaded (--keep-valid loads the others, --preview shows what they change)"


def _free_path(source: Path) -> Path:
    ending = ".xlsx" if source.suffix.lower() in (*WORKBOOK_ENDINGS, ".xls", ".xlsb", ".ods") else ".csv"
    path = Path(f"{source.stem}-refused{ending}")
    number = 2
    while path.exists():  # it may hold somebody's corrections
        path = Path(f"{source.stem}-refused-{number}{ending}")
        number += 1
    return path


def _write(path: Path, data: bytes) -> None:
    try:
        path.write_bytes(data)
    except OSError as exc:
        raise FileRefused(f"the refused rows cannot be written to {path} ({exc.strerror}); nothing was loaded") from exc


def _tell(step: str) -> None:
    if sys.stderr.isatty():
        print(f"{step} …", file=sys.stderr, flush=True)


def _shown(value: Any) -> str:
    return "nothing" if value is None else str(value)
