"""A template and its context agree: nothing is used that is not given, nothing is given that is not used."""

import dataclasses
import inspect

import pytest
from jinja2 import nodes

from dashboards import contexts, crew_contexts, make_up_contexts, plan_contexts, rendering, route_contexts
from dashboards.contexts import PageContext

DATACLASSES = [
    kind
    for module in (contexts, crew_contexts, make_up_contexts, plan_contexts, route_contexts)
    for kind in vars(module).values()
    if inspect.isclass(kind) and dataclasses.is_dataclass(kind) and kind.__module__ == module.__name__
]
PAGES = [kind for kind in DATACLASSES if issubclass(kind, PageContext) and kind is not PageContext]
LAYOUT = ("base.html.j2", "parts.html.j2", "crew_parts.html.j2", "board_parts.html.j2")
ENVIRONMENT = rendering._environment()


def test_every_template_has_one_context_and_every_context_a_template() -> None:
    files = sorted(path.name for path in rendering.TEMPLATES.iterdir() if path.name not in LAYOUT)
    assert sorted(page.template for page in PAGES) == files


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.__name__)
def test_a_template_uses_its_context_s_fields_and_no_others(page: type[PageContext]) -> None:
    given = {field.name for field in dataclasses.fields(page)}
    used = names_used(page.template)
    assert used <= given | names_used("base.html.j2"), "a name that the context does not give"
    assert given <= used | names_used("base.html.j2"), "a field that no template uses"


@pytest.mark.parametrize("kind", DATACLASSES, ids=lambda kind: kind.__name__)
def test_every_context_says_what_it_is(kind: type) -> None:
    assert kind.__doc__
    assert not kind.__doc__.startswith(f"{kind.__name__}("), "the docstring is the one that dataclass makes"


def test_a_name_that_is_not_given_is_an_error_and_no_blank() -> None:
    with pytest.raises(Exception, match="'nothing' is undefined"):
        ENVIRONMENT.from_string("{{ nothing }}").render()


def names_used(template: str) -> set[str]:
    """The names that a template reads and neither sets itself nor has from everywhere.

    Jinja's own finder knows blocks but not that a child sees its parent's imports, hence this walk.
    """
    source = (rendering.TEMPLATES / template).read_text(encoding="utf-8")
    tree = ENVIRONMENT.parse(source)
    stored = {name.name for name in tree.find_all(nodes.Name) if name.ctx in ("store", "param")}
    stored |= {macro.name for macro in tree.find_all(nodes.Macro)}
    stored |= {imported.target for imported in tree.find_all(nodes.Import)}
    loaded = {name.name for name in tree.find_all(nodes.Name) if name.ctx == "load"}
    return loaded - stored - set(ENVIRONMENT.globals) - {"parts", "crew_parts", "board_parts", "loop", "caller"}
