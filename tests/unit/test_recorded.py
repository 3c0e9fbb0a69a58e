"""Rows of a file against a ledger: new, known or contradicting, whatever the order."""

import polars as pl
from hypothesis import given
from hypothesis import strategies as st

from registry.intake.model import ROW, Table, TypedRows
from registry.intake.recorded import IS_KNOWN, IS_NEW, held_against, with_number

KEY, CONTENT = ("joint_id", "day"), ("result",)
Entry = tuple[int | None, int, str]
entries = st.lists(
    st.tuples(st.one_of(st.none(), st.integers(1, 3)), st.integers(1, 3), st.sampled_from("ab")), max_size=9
)


def typed(rows: list[Entry]) -> TypedRows:
    """Typed rows that stand from row 2 on, with the headings of their columns."""
    frame = frame_of(rows).with_columns(pl.int_range(2, 2 + len(rows), dtype=pl.Int32).alias(ROW))
    table = Table(
        source_name="list.csv",
        content_sha256=b"",
        headings=("joint_id", "day", "result"),
        cells=frame.select(pl.col("joint_id", "day", "result").cast(pl.String)).rename(
            {"joint_id": "c0", "day": "c1", "result": "c2"}
        ),
        row_numbers=frame[ROW],
    )
    names = {"joint_id": "c0", "day": "c1", "result": "c2"}
    return TypedRows(table, frame, (), frozenset(names), {name: name for name in names}, names)


def frame_of(rows: list[Entry]) -> pl.DataFrame:
    schema = {"joint_id": pl.Int32, "day": pl.Int32, "result": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")


@given(entries, entries)
def test_every_row_is_new_known_or_at_fault_as_one_by_one(rows: list[Entry], ledger: list[Entry]) -> None:
    stands: dict[tuple[int, int], str] = {}
    for joint, day, result in ledger:
        if joint is not None:
            stands.setdefault((joint, day), result)
    found = held_against(typed(rows), frame_of([row for row in ledger if row[0] is not None]), KEY, CONTENT, "check")
    new, known, faulty = set[int](), set[int](), set[int]()
    for number, (joint, day, result) in enumerate(rows, start=2):
        if joint is None:
            continue
        if (joint, day) not in stands:
            stands[joint, day] = result
            new.add(number)
        elif stands[joint, day] == result:
            known.add(number)
        else:
            faulty.add(number)
    assert set(found.frame.filter(IS_NEW)[ROW].to_list()) == new
    assert set(found.frame.filter(IS_KNOWN)[ROW].to_list()) == known
    assert found.refused_rows == faulty


def test_a_contradiction_says_what_stands_and_where() -> None:
    found = held_against(typed([(1, 1, "b"), (2, 1, "a"), (2, 1, "b")]), frame_of([(1, 1, "a")]), KEY, CONTENT, "check")
    first, second = found.issues
    assert (first.row, first.column, first.value) == (2, "result", "b")
    assert "which says 'a'" in first.reason
    assert second.row == 4
    assert "contradicts row 3" in second.reason


def test_a_name_that_nobody_knows_is_a_fault() -> None:
    numbered = with_number(
        typed([(1, 2, "a"), (1, 3, "a")]),
        "result",
        pl.DataFrame([(9, "b")], schema={"result_id": pl.Int32, "result": pl.String}, orient="row"),
        "result_id",
        "is unknown here",
    )
    assert [issue.reason for issue in numbered.issues] == ["is unknown here"] * 2
    assert numbered.frame["result_id"].to_list() == [None, None]
