"""Everything that is exported says what it is, with units, shapes and what goes wrong."""

import ast
import inspect
import re
from dataclasses import is_dataclass

import pytest

import sidecar

SECTION = re.compile(r"^(Parameters|Returns|Raises)\n-+\n", re.MULTILINE)
CLASSES = [name for name in sidecar.__all__ if isinstance(getattr(sidecar, name), type)]
ERRORS = {name for name in CLASSES if issubclass(getattr(sidecar, name), sidecar.SidecarError)}


def callables():
    """Public functions, methods and initialisers that are not generated, by name."""
    for name in sidecar.__all__:
        member = getattr(sidecar, name)
        if inspect.isfunction(member):
            yield name, member
        elif isinstance(member, type):
            for own, method in vars(member).items():
                written = not own.startswith("_") or (own == "__init__" and not is_dataclass(member))
                if inspect.isfunction(method) and written and "<string>" not in method.__code__.co_filename:
                    yield f"{name}.{own}", method


CALLABLES = dict(callables())


def sections(function):
    """The sections of a docstring by their titles, and the names at the margin of each."""
    parts = SECTION.split(inspect.getdoc(function) or "")[1:]
    return {
        title: re.findall(r"^\S.*$", text, re.MULTILINE)
        for title, text in zip(parts[::2], parts[1::2], strict=True)
    }


@pytest.mark.parametrize("name", CALLABLES)
def test_a_callable_explains_what_it_takes_and_gives(name):
    function = CALLABLES[name]
    signature = inspect.signature(function)
    wanted = [parameter for parameter in signature.parameters if parameter != "self"]
    found = sections(function)
    explained = [word.strip("* ") for line in found.get("Parameters", []) for word in line.split(",")]

    assert (inspect.getdoc(function) or "").split("\n")[0].strip()
    assert explained == wanted
    assert ("Returns" in found) == (signature.return_annotation not in ("None", None))


@pytest.mark.parametrize("name", CALLABLES)
def test_what_is_raised_is_one_of_the_exported_errors(name):
    raised = [
        word.strip() for line in sections(CALLABLES[name]).get("Raises", []) for word in line.split(",")
    ]

    assert set(raised) <= ERRORS


@pytest.mark.parametrize("name", CLASSES)
def test_a_class_says_what_it_is(name):
    cls = getattr(sidecar, name)
    properties = [
        member for own, member in vars(cls).items() if isinstance(member, property) and own[0] != "_"
    ]

    assert cls.__doc__
    assert not cls.__doc__.startswith(f"{name}(")  # what dataclasses write themselves
    assert all(inspect.getdoc(member) for member in properties)


@pytest.mark.parametrize("name", [name for name in CLASSES if getattr(sidecar, name).__annotations__])
def test_each_field_says_its_meaning_or_unit(name):
    (cls,) = ast.parse(inspect.getsource(getattr(sidecar, name))).body
    bare = [
        field.target.id
        for field, following in zip(cls.body, [*cls.body[1:], None], strict=True)
        if isinstance(field, ast.AnnAssign) and not isinstance(following, ast.Expr)
    ]

    assert bare == []
