"""What a formula is, and what its docstring lacks."""

import ast
import importlib
import inspect
import re
import textwrap
from collections.abc import Callable, Iterator
from pathlib import PurePath

from tests.rules.project import capability_of, modules, read

# Where numbers are computed that somebody may have to defend.
CAPABILITIES_WITH_FORMULAS = {"exposure", "risk", "intervals", "leaks", "makeup"}
SECTIONS = ("Parameters", "Returns", "References", "Examples")
_REAL = r"(?:float|Floats|FloatArray|(?:npt\.)?NDArray\[np\.float64\]|Cycles)"
REAL = re.compile(rf"{_REAL}|tuple\[{_REAL}(?:, {_REAL})*(?:, \.\.\.)?\]")
_NUMBERS = rf"(?:{_REAL}|int|(?:npt\.)?ArrayLike|Integers?|Sequence\[float\])"
NUMBERS = re.compile(_NUMBERS)
NUMBERS_OR_WORDS = re.compile(rf"(?:{_NUMBERS}|str|bool)(?: \| None)?")
HEADING = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)
OWN = "Own method"
# Words with which a citation may begin or go on, and which name no source.
COMMON = {
    "The",
    "And",
    "For",
    "Part",
    "Table",
    "Standard",
    "Standards",
    "Practices",
    "From",
    "Any",
    "With",
    "Process",
    "General",
}

Formula = Callable[..., object]


def formulas() -> Iterator[tuple[str, Formula]]:
    """Every public function that computes numbers, in the pure modules of the capabilities that have formulas."""
    for name in modules("registry"):
        pure = PurePath(name).stem not in ("model", "store", "service", "api", "__init__")
        cites = re.search(r"^    References\n", read(name), re.MULTILINE) is not None
        if (pure and capability_of(name) in CAPABILITIES_WITH_FORMULAS) or cites:
            module = importlib.import_module(name.removesuffix(".py").replace("/", "."))
            for label, function in vars(module).items():
                if inspect.isfunction(function) and function.__module__ == module.__name__ and is_formula(function):
                    yield f"{module.__name__}.{label}", function


def is_formula(function: Formula) -> bool:
    """A formula turns real numbers into real numbers, or says where it comes from."""
    if function.__name__.startswith("_"):
        return False
    annotations = _annotations_of(function)
    returned = annotations.pop("return", "")
    pure = bool(REAL.fullmatch(returned)) and all(map(NUMBERS_OR_WORDS.fullmatch, annotations.values()))
    return pure or "References\n" in (function.__doc__ or "")


def faults_of(function: Formula) -> Iterator[str]:
    """What is missing from a formula's docstring, or does not agree with its signature."""
    text = inspect.getdoc(function) or ""
    parts = HEADING.split(text)
    summary, sections = parts[0], dict(zip(parts[1::2], parts[2::2], strict=True))
    if not re.match(r"[A-Z0-9][^\n]*(\n[^\n]+)?[.:](\n|$)", summary):
        yield "does not begin with one sentence"
    if not references_of(function):
        yield "has nothing under References"
    elif OWN not in references_of(function) and not re.search(r"\d", references_of(function)):
        yield f"cites without edition, clause or year, and is not marked '{OWN}'"
    parameters = list(inspect.signature(function).parameters)
    documented = _entries(sections.get("Parameters", ""))
    if documented and [name for names in documented for name in names.split(", ")] != parameters:
        yield f"documents {list(documented)}, its signature has {parameters}"
    of_the_model = function.__module__.split(".")[1] in CAPABILITIES_WITH_FORMULAS
    if of_the_model or function.__module__.startswith("tests."):
        yield from _faults_of_a_model_formula(function, summary, sections, documented)


def _faults_of_a_model_formula(
    function: Formula, summary: str, sections: dict[str, str], documented: dict[str, str]
) -> Iterator[str]:
    for section in SECTIONS:
        if section not in sections and not (section == "Parameters" and not inspect.signature(function).parameters):
            yield f"has no section {section}"
    if not re.search(r"[=+/^<>]|\*\*", summary.partition("\n\n")[2]):
        yield "gives no equation before its parameters"
    annotations = _annotations_of(function)
    for names, said in documented.items():
        if NUMBERS.match(annotations.get(names.split(", ")[0], "")) and "[" not in said:
            yield f"gives no unit for {names}"
    if REAL.fullmatch(annotations["return"]) and "[" not in sections.get("Returns", "["):
        yield "gives no unit for what it returns"
    if ">>>" not in sections.get("Examples", ">>>"):
        yield "has an Examples section without an example"


def references_of(function: Formula) -> str:
    """The text of the References section in one line."""
    parts = HEADING.split(inspect.getdoc(function) or "")
    return " ".join(dict(zip(parts[1::2], parts[2::2], strict=True)).get("References", "").split())


def _annotations_of(function: Formula) -> dict[str, str]:
    """The parameters' annotations as they are written: an alias says more than what it stands for."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    given = (*tree.args.posonlyargs, *tree.args.args, *tree.args.kwonlyargs)
    found = {argument.arg: ast.unparse(argument.annotation) for argument in given if argument.annotation is not None}
    return found if tree.returns is None else {**found, "return": ast.unparse(tree.returns)}


def _entries(section: str) -> dict[str, str]:
    """Name or names -> all that is said of it, from lines 'name : kind' and what is indented below."""
    entries: dict[str, str] = {}
    current = ""
    for line in section.splitlines():
        if line and not line.startswith(" ") and " : " in line:
            current = line.partition(" : ")[0]
            entries[current] = line
        elif current:
            entries[current] += "\n" + line
    return entries


def is_the_case(function: Formula, text: str) -> bool:
    """Whether a test file uses the formula and its heading shares a name and a number with the citation."""
    heading, cited = ast.get_docstring(ast.parse(text)) or "", references_of(function)
    names = set(re.findall(r"\b[A-Z]\w{2,}", cited)) & set(re.findall(r"\b[A-Z]\w{2,}", heading)) - COMMON
    numbers = set(re.findall(r"\b[A-Z]?\d[\d.]+\b", cited)) & set(re.findall(r"\b[A-Z]?\d[\d.]+\b", heading))
    return bool(names and numbers and re.search(rf"\b{function.__name__}\(", text))
