"""`jointwright policy`: show it, draft another, see what that would change, publish it."""

import argparse
from datetime import datetime
from pathlib import Path
from typing import Any

import orjson

from registry.commands import COMMANDS
from registry.commands.days import day
from registry.commands.score import score_lines
from registry.commands.session import open_site
from registry.intervals.decisions import OverrideRequest
from registry.intervals.preview import DraftPreview
from registry.intervals.service import override_interval, overrides_in_force, preview_draft, publish_policy
from registry.policy import service, store
from registry.policy.model import PolicyInvalid
from registry.policy.versions import Difference, differences

MOST_SHOWN = 12


def register(subparsers: Any) -> argparse.ArgumentParser:
    """Add `policy` and its actions."""
    parser: argparse.ArgumentParser = subparsers.add_parser("policy", description=COMMANDS["policy"])
    actions = parser.add_subparsers(
        dest="action", required=True, metavar="show|draft|preview|publish|versions|override"
    )
    show = actions.add_parser("show", help="the policy as TOML, to be edited and drafted")
    what = show.add_mutually_exclusive_group()
    what.add_argument("--version", type=int, metavar="N", help="a published version (default: the one in force)")
    what.add_argument("--draft", action="store_true", help="the draft")
    show.set_defaults(run=run_show)
    draft = actions.add_parser("draft", help="save an edited policy file as the draft, or drop the draft")
    given = draft.add_mutually_exclusive_group(required=True)
    given.add_argument("file", nargs="?", type=Path, metavar="FILE", help="TOML, as `policy show` prints it")
    given.add_argument("--drop", action="store_true", help="throw the draft away")
    draft.set_defaults(run=run_draft)
    preview = actions.add_parser(
        "preview", help="what the draft would change: intervals, workload, joints beyond checking"
    )
    preview.set_defaults(run=run_preview)
    publish = actions.add_parser("publish", help="make the draft the next version, and score the plant by it")
    publish.add_argument("--by", required=True, metavar="NAME", help="who publishes it")
    publish.add_argument("--note", required=True, metavar="TEXT", help="why")
    publish.set_defaults(run=run_publish)
    versions = actions.add_parser("versions", help="who published which version, when and why")
    versions.set_defaults(run=run_versions)
    override = actions.add_parser("override", help="set one joint's interval until a day, or list what is in force")
    override.add_argument("tag", nargs="?", metavar="TAG")
    override.add_argument("--days", type=float, metavar="D")
    override.add_argument("--until", type=day, metavar="YYYY-MM-DD")
    override.add_argument("--by", metavar="NAME")
    override.add_argument("--reason", metavar="TEXT")
    override.set_defaults(run=run_override, parser=override)
    for action in (preview, publish):
        action.add_argument("--as-of", type=day, metavar="YYYY-MM-DD", help="default: today")
    for action in (draft, preview, publish, versions, override):
        action.add_argument("--json", action="store_true", help="answer as JSON")
    return parser


def run_show(parsed: argparse.Namespace) -> int:
    """Print a policy document as TOML."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        if parsed.draft:
            document = service.current_draft(connection).document
        elif parsed.version is not None:
            document = service.version_of(connection, parsed.version).document
        else:
            document = service.current_version(connection).document
    print(service.policy_text(document), end="")
    return 0


def run_draft(parsed: argparse.Namespace) -> int:
    """Save a file as the draft and print what differs, or drop the draft."""
    if parsed.drop:
        with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
            service.drop_draft(connection)
        print("{}" if parsed.json else "the draft is gone")
        return 0
    document = service.document_of_text(_text_of(parsed.file), parsed.file.name)
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        draft = service.edit_draft(connection, document)
        changed = differences(service.version_of(connection, draft.based_on).document, draft.document)
    if parsed.json:
        print(orjson.dumps({"based_on": draft.based_on, "revision": draft.revision, "differences": changed}).decode())
        return 0
    print(f"saved as the draft, revision {draft.revision}; {len(changed)} values differ from version {draft.based_on}")
    print("\n".join(_difference_lines(changed)))
    print("see what it would change: jointwright policy preview")
    return 0


def run_preview(parsed: argparse.Namespace) -> int:
    """Print what the draft would change."""
    as_of = parsed.as_of or datetime.now().astimezone().date()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        preview = preview_draft(connection, as_of)
    print(orjson.dumps(preview).decode() if parsed.json else "\n".join(_preview_lines(preview)))
    return 0


def run_publish(parsed: argparse.Namespace) -> int:
    """Publish the draft, score the plant, and print the run."""
    as_of = parsed.as_of or datetime.now().astimezone().date()
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        published, scored = publish_policy(connection, parsed.by, parsed.note, as_of)
    if parsed.json:
        print(orjson.dumps({"policy_version": published.policy_version, "score": scored}).decode())
        return 0
    print(f"version {published.policy_version} is in force, published by {published.published_by}")
    print("\n".join(score_lines(scored)))
    return 0


def run_versions(parsed: argparse.Namespace) -> int:
    """Print who published what."""
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        versions = store.list_policies(connection)
    if parsed.json:
        print(orjson.dumps({"versions": versions}).decode())
        return 0
    for version in versions:
        when = f"{version.published_at:%Y-%m-%d %H:%M} UTC"
        print(f"{version.policy_version:>4}  {when}  {version.published_by}: {version.note}")
    return 0


def run_override(parsed: argparse.Namespace) -> int:
    """Record a decision on one joint's interval, or list those in force."""
    given = (parsed.days, parsed.until, parsed.by, parsed.reason)
    if (parsed.tag is None) != all(value is None for value in given) or (parsed.tag and None in given):
        parsed.parser.error(
            "a decision needs TAG --days --until --by --reason; without any of them the list is printed"
        )
    with open_site(parsed) as (database, site), database.transaction(site.site_id) as connection:
        if parsed.tag is not None:
            override_interval(
                connection,
                OverrideRequest(
                    tag=parsed.tag,
                    interval_days=parsed.days,
                    until_on=parsed.until,
                    decided_by=parsed.by,
                    reason=parsed.reason,
                ),
            )
        found = overrides_in_force(connection, datetime.now().astimezone().date())
    if parsed.json:
        print(orjson.dumps({"overrides": found}).decode())
        return 0
    print(f"Overrides of single joints: {len(found):,} in force")
    for override in found:
        print(
            f"  {override.tag}: {override.interval_days:g} days until {override.until_on},"
            f" {override.decided_by}: {override.reason}"
        )
    return 0


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as exc:
        raise PolicyInvalid(f"{path} cannot be read: {getattr(exc, 'strerror', None) or exc}") from exc


def _difference_lines(changed: list[Difference]) -> list[str]:
    lines = [f"  {found.path}: {_shown(found.old)} -> {_shown(found.new)}" for found in changed[:MOST_SHOWN]]
    if len(changed) > MOST_SHOWN:
        lines.append(f"  … and {len(changed) - MOST_SHOWN} more (--json lists them)")
    return lines


def _shown(value: Any) -> str:
    text = "nothing" if value is None else str(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


def _preview_lines(preview: DraftPreview) -> list[str]:
    lines = [
        f"The draft against version {preview.published_version}, as of {preview.as_of}: {preview.joints:,} joints,"
        f" {preview.shorter:,} intervals shorter, {preview.longer:,} longer",
        f"  overdue          {preview.overdue_now:>9,} -> {preview.overdue_then:,}",
        f"  beyond checking  {preview.beyond_checking_now:>9,} -> {preview.beyond_checking_then:,}",
        "",
        f"{'family':<14} {'joints':>9}  {'shorter':>9}  {'longer':>9}  median interval, days",
    ]
    lines += [
        f"{family.family:<14} {family.joints:>9,}  {family.shorter:>9,}  {family.longer:>9,}"
        f"  {family.median_interval_days_now:.0f} -> {family.median_interval_days_then:.0f}"
        for family in preview.families
    ]
    lines += ["", f"{'month':<8} {'checks':>20}  {'hours':>20}"]
    lines += [
        f"{month.month:<8} {f'{month.checks_now:,} -> {month.checks_then:,}':>20}"
        f"  {f'{month.hours_now:,.0f} -> {month.hours_then:,.0f}':>20}"
        for month in preview.months
    ]
    for title, joints in (
        ("Most changed", preview.most_changed),
        ("Newly beyond checking", preview.newly_beyond_checking),
    ):
        if joints:
            lines += ["", f"{title}:"]
        lines += [
            f"  {joint.tag}: {joint.interval_days_now:.0f} -> {joint.interval_days_then:.0f} days,"
            f" due {joint.due_on_now} -> {joint.due_on_then}"
            for joint in joints[:MOST_SHOWN]
        ]
    return lines
