"""Whatever the number of bolts, a pass takes each once, in opposite pairs."""

from itertools import pairwise

import pytest

from registry.makeup.bolting import cross_pattern, opposite_pairs, tightening_order

FOURS = range(4, 97, 4)
EVEN = [bolts for bolts in range(6, 97, 2) if bolts % 4]


@pytest.mark.parametrize("bolts", [*FOURS, *EVEN])
def test_a_pass_takes_every_bolt_once(bolts: int) -> None:
    taken = [bolt for group in tightening_order(bolts) for bolt in group]
    assert sorted(taken) == list(range(1, bolts + 1))
    assert taken[0] == 1


@pytest.mark.parametrize("bolts", [*FOURS, *EVEN])
def test_each_pair_is_opposite(bolts: int) -> None:
    for group in tightening_order(bolts):
        for first, second in zip(group[::2], group[1::2], strict=True):
            assert (second - first) % bolts == bolts // 2


@pytest.mark.parametrize("bolts", FOURS)
def test_the_two_pairs_of_a_group_are_a_quarter_turn_apart(bolts: int) -> None:
    for group in cross_pattern(bolts):
        assert len(group) == 4
        assert (group[2] - group[0]) % bolts == bolts // 4


@pytest.mark.parametrize("bolts", [*[n for n in FOURS if n > 24], *[n for n in EVEN if n > 6]])
def test_where_the_order_is_ours_neighbours_do_not_follow_each_other(bolts: int) -> None:
    starts = [group[0] for group in tightening_order(bolts)]
    round_the_groups = len(starts)
    for before, after in pairwise(starts):
        apart = abs(after - before)
        assert min(apart, round_the_groups - apart) > 1


@pytest.mark.parametrize("bolts", [-4, 0, 1, 2, 3])
def test_too_few_bolts_have_no_pattern(bolts: int) -> None:
    with pytest.raises(ValueError, match="tighten them in turn"):
        tightening_order(bolts)


@pytest.mark.parametrize("bolts", [5, 7, 13, 95])
def test_an_odd_number_is_refused_in_words(bolts: int) -> None:
    with pytest.raises(ValueError, match=f"{bolts} bolts have no opposite pairs"):
        tightening_order(bolts)


def test_each_rule_refuses_what_is_the_other_s() -> None:
    with pytest.raises(ValueError, match="multiple of four"):
        cross_pattern(10)
    with pytest.raises(ValueError, match="even number"):
        opposite_pairs(9)
