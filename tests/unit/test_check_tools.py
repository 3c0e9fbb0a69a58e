"""Which kinds of tool a check takes: by family and reason, as the policy says, or the shipped one for an older one."""

from copy import deepcopy
from typing import Any

import pytest

from registry.intervals.model import DUE_REASONS
from registry.policy.document import default_document, default_policy, policy_from
from registry.policy.model import CHECK_REASONS, PolicyInvalid


def changed(**family: Any) -> dict[str, Any]:
    """The shipped document with other words in its first family."""
    document: dict[str, Any] = deepcopy(default_document())
    document["family"][0] |= family
    return document


def test_a_retightening_check_of_a_flange_takes_a_torque_wrench_more() -> None:
    flange = default_policy().family("flanged")
    assert flange is not None
    assert flange.tools_for("interval") == ("leak_detector",)
    assert flange.tools_for("retightening") == ("leak_detector", "torque_wrench")
    assert flange.tools_for("") == ("leak_detector",)


def test_the_reasons_are_those_of_due_dates() -> None:
    assert CHECK_REASONS == DUE_REASONS


def test_an_older_document_gets_the_shipped_familys_tools_and_a_family_of_its_own_none() -> None:
    older: dict[str, Any] = deepcopy(default_document())
    for family in older["family"]:
        family.pop("check_tools")
    assert policy_from(older, 1).families[0].check_tools == default_policy().families[0].check_tools
    older["family"][0] |= {"code": "own_flange"}
    assert policy_from(older, 1).families[0].check_tools == {}


def test_a_documents_own_tools_count() -> None:
    own = policy_from(changed(check_tools={"every": ["thermal_camera"], "interval": ["thermal_camera", "mirror"]}), 1)
    assert own.families[0].tools_for("interval") == ("thermal_camera", "mirror")
    assert own.families[0].tools_for("settling") == ("thermal_camera",)
    assert policy_from(changed(check_tools={}), 1).families[0].check_tools == {}


@pytest.mark.parametrize(
    ("tools", "said"),
    [
        ({"every": ["Leak detector"]}, "family[0].check_tools.every"),
        ({"every": "leak_detector"}, "family[0].check_tools.every"),
        ({"sometimes": ["mirror"]}, "family[0].check_tools.sometimes"),
        (["mirror"], "family[0].check_tools"),
    ],
)
def test_what_is_no_list_of_tools_is_named_by_its_path(tools: object, said: str) -> None:
    with pytest.raises(PolicyInvalid) as refused:
        policy_from(changed(check_tools=tools), 1)
    assert [issue.column for issue in refused.value.issues] == [said]
