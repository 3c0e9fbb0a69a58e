"""Draft, publish and read the policy of a site.

What a draft would change needs the joints' scores, and so is previewed in `registry/intervals/preview.py`.
"""

import tomllib
from typing import Any

import tomli_w

from registry.db import Connection
from registry.errors import Issue
from registry.policy import store
from registry.policy.document import default_document, policy_from
from registry.policy.model import Policy, PolicyInvalid
from registry.policy.versions import (
    DraftOvertaken,
    DraftSavedSince,
    DraftUnknown,
    PolicyDraft,
    PolicyUnknown,
    PolicyVersion,
    PublisherUnnamed,
    in_the_order_of,
)

_NO_POLICY = "this site has no policy yet: load a joint list, which begins with the shipped one"
_READ: dict[tuple[int, str], Policy] = {}
_MOST_READ = 64


def publish_first(connection: Connection) -> Policy:
    """The current policy; a site without one gets the shipped defaults as its version 1."""
    store.take_policy_lock(connection)
    current = store.read_current_policy(connection)
    if current is None:
        document = default_document()
        policy_from(document, 1)
        current = store.add_policy(connection, document, "Jointwright", "The shipped starting values")
    return policy_from(current.document, current.policy_version)


def current_version(connection: Connection) -> PolicyVersion:
    """The newest published version with its document. Raises PolicyUnknown."""
    current = store.read_current_policy(connection)
    if current is None:
        raise PolicyUnknown(_NO_POLICY)
    return current


def current_policy(connection: Connection) -> Policy:
    """The newest published policy. Raises PolicyUnknown."""
    stamp = store.read_stamp(connection)
    if stamp is None:
        raise PolicyUnknown(_NO_POLICY)
    return _read(connection, stamp)


def version_of(connection: Connection, policy_version: int) -> PolicyVersion:
    """One published version with its document. Raises PolicyUnknown."""
    found = store.read_policy(connection, policy_version)
    if found is None:
        raise PolicyUnknown(_no_version(policy_version))
    return found


def policy_of(connection: Connection, policy_version: int) -> Policy:
    """One published policy. Raises PolicyUnknown."""
    stamp = store.read_stamp(connection, policy_version)
    if stamp is None:
        raise PolicyUnknown(_no_version(policy_version))
    return _read(connection, stamp)


def current_draft(connection: Connection) -> PolicyDraft:
    """The draft as last saved. Raises DraftUnknown."""
    draft = store.read_draft(connection)
    if draft is None:
        raise DraftUnknown("no draft here: begin one with `jointwright policy draft FILE`")
    return draft


def draft_policy(connection: Connection) -> Policy:
    """The draft as a policy, numbered as the version that it would become. Raises DraftUnknown or PolicyInvalid."""
    return policy_from(current_draft(connection).document, current_version(connection).policy_version + 1)


def edit_draft(connection: Connection, document: dict[str, Any], revision: int | None = None) -> PolicyDraft:
    """Save a document as the draft, based on the current version.

    `revision` is the one that the editor last saw (0: none was there); None takes the draft's place whatever it is.
    Raises PolicyInvalid with every fault by its path, or DraftOvertaken when somebody saved in between.
    """
    store.take_policy_lock(connection)
    current = current_version(connection)
    _whole_for_register(connection, policy_from(document, current.policy_version + 1))
    _expected_revision(store.read_draft(connection), revision)
    return store.save_draft(connection, current.policy_version, document)


def drop_draft(connection: Connection, revision: int | None = None) -> None:
    """Throw the draft away. Raises DraftUnknown or DraftOvertaken."""
    store.take_policy_lock(connection)
    _expected_revision(current_draft(connection), revision)
    store.drop_draft(connection)


def publish_draft(connection: Connection, by: str, note: str, revision: int | None = None) -> PolicyVersion:
    """Make the draft the next version, in somebody's name and with their reason, and end the draft.

    Scores keep the version that made them until the site is scored again. Raises PublisherUnnamed, DraftUnknown,
    PolicyInvalid, or DraftOvertaken when another version was published since the draft was saved, or the draft is
    not of that revision.
    """
    if not by.strip() or not note.strip():
        raise PublisherUnnamed("say who publishes it, and why")
    store.take_policy_lock(connection)
    draft, current = current_draft(connection), current_version(connection)
    _expected_revision(draft, revision)
    if draft.based_on != current.policy_version:
        raise DraftOvertaken(
            f"the draft is based on version {draft.based_on}, and version {current.policy_version} was published"
            f" since by {current.published_by}: look at it, save the draft again, preview, publish"
        )
    _whole_for_register(connection, policy_from(draft.document, current.policy_version + 1))
    published = store.add_policy(connection, draft.document, by.strip(), note.strip())
    store.drop_draft(connection)
    return published


def policy_text(document: dict[str, Any]) -> str:
    """A policy document as TOML, its tables in the order of the shipped one."""
    return tomli_w.dumps(in_the_order_of(document, default_document()), multiline_strings=True)


def document_of_text(text: str, source_name: str) -> dict[str, Any]:
    """The policy document of a TOML text. Raises PolicyInvalid where it is no TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as exc:
        raise PolicyInvalid(f"{source_name} is not TOML", [Issue(None, None, None, str(exc))]) from exc


def _read(connection: Connection, stamp: tuple[int, str]) -> Policy:
    """A published policy by its number and the hash of its document.

    Every page and every account asks for one, and a document takes longer to read than most of what they do with it;
    as a version never changes, those met last are kept.
    """
    kept = _READ.get(stamp)
    if kept is None:
        if len(_READ) >= _MOST_READ:
            _READ.clear()
        kept = _READ[stamp] = policy_from(version_of(connection, stamp[0]).document, stamp[0])
    return kept


def _no_version(policy_version: int) -> str:
    return f"no version {policy_version} of the policy was published here"


def _expected_revision(draft: PolicyDraft | None, revision: int | None) -> None:
    found = 0 if draft is None else draft.revision
    if revision is not None and revision != found:
        raise DraftSavedSince(f"the draft is at revision {found}, not {revision}: somebody saved it in between")


def _whole_for_register(connection: Connection, policy: Policy) -> None:
    missing = [
        Issue(None, "family", name, "joints of the register are of this family, and the policy has no row for it")
        for kind, name in store.list_names_in_use(connection)
        if kind == "family" and policy.family(name) is None
    ]
    if missing:
        raise PolicyInvalid("the policy leaves joints of the register without rates", missing)
