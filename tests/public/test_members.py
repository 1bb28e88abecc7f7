"""What ``import sidecar`` offers, and that it costs nothing until it is used."""

import ast
import inspect
import json
import subprocess
import sys
import typing
from dataclasses import is_dataclass
from pathlib import Path

import pytest

import sidecar
from sidecar import errors
from sidecar.version import program_version

PACKAGE = ast.parse(Path(sidecar.__file__).read_text(encoding="utf-8"))
NOT_FOR_CALLERS = {
    "FileIdentity",  # by what reports know that a file is still the one that was measured
    "Outlook",  # what the steady advice of a run is made from
    "Heard",  # what of the pass that plays an earlier one is compared with
    "Difference",  # by how much an earlier pass differs, as the forecast needs it
}


def in_a_fresh_interpreter(code):
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return json.loads(ran.stdout)


def names_in(annotation):
    """Classes of this program in an annotation, however deep."""
    if isinstance(annotation, type) and annotation.__module__.startswith("sidecar."):
        yield annotation.__name__
    for part in typing.get_args(annotation):
        yield from names_in(part)


def public_classes():
    return [member for name in sidecar.__all__ if isinstance(member := getattr(sidecar, name), type)]


def test_every_exported_name_can_be_had_and_stands_once_in_order():
    assert sorted(set(sidecar.__all__)) == sidecar.__all__
    assert [name for name in sidecar.__all__ if not hasattr(sidecar, name)] == []
    assert set(sidecar.__all__) <= set(dir(sidecar))


def test_type_checkers_see_the_names_that_are_exported():
    (block,) = (
        node
        for node in PACKAGE.body
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
    )
    places = {
        alias.name: node.module
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }

    assert sorted([*places, "__version__"]) == sidecar.__all__
    assert {name: getattr(sidecar, name).__module__ for name in places} == places


def test_every_error_is_exported():
    classes = [name for name, member in vars(errors).items() if isinstance(member, type)]

    assert [name for name in classes if name not in sidecar.__all__] == []
    assert all(issubclass(getattr(errors, name), sidecar.SidecarError) for name in classes)


def test_what_public_classes_and_functions_give_is_public_too():
    given = set()
    for cls in public_classes():
        if is_dataclass(cls) or hasattr(cls, "_fields"):
            for annotation in typing.get_type_hints(cls).values():
                given |= set(names_in(annotation))
        for name, member in vars(cls).items():
            function = member.fget if isinstance(member, property) else member
            if inspect.isfunction(function) and not name.startswith("_"):
                given |= set(names_in(typing.get_type_hints(function).get("return")))
    for function in (sidecar.measure, sidecar.check, sidecar.load_goal, sidecar.all_goals):
        given |= set(names_in(typing.get_type_hints(function)["return"]))

    assert given - set(sidecar.__all__) - NOT_FOR_CALLERS == set()


def test_importing_the_package_loads_no_other_module_of_it_and_nothing_heavy():
    loaded = in_a_fresh_interpreter(
        "import sys, json, sidecar; dir(sidecar); "
        "print(json.dumps([m for m in sys.modules if m.split('.')[0] in "
        "('sidecar', 'tui', 'numpy', 'scipy', 'numba', 'soundfile', 'textual', 'rich')]))"
    )

    assert loaded == ["sidecar"]


def test_an_error_class_is_caught_without_loading_what_measures():
    loaded = in_a_fresh_interpreter(
        "import sys, json, sidecar; sidecar.SidecarError; print(json.dumps(['numpy' in sys.modules]))"
    )

    assert loaded == [False]


@pytest.mark.slow
def test_a_star_import_brings_the_exported_names():
    brought = in_a_fresh_interpreter(
        "import json; from sidecar import *; "
        "print(json.dumps(sorted(n for n in globals() if n == '__version__' or n[0] != '_' and n != 'json')))"
    )

    assert brought == sidecar.__all__


def test_a_name_that_is_none_is_an_attribute_error_that_says_so():
    with pytest.raises(AttributeError, match="module 'sidecar' has no attribute 'mesure'"):
        _ = sidecar.mesure
    with pytest.raises(ImportError, match="mesure"):
        exec("from sidecar import mesure")


def test_the_version_is_that_of_the_installed_program():
    assert sidecar.__version__ == program_version()


def test_the_package_says_that_it_is_typed():
    assert (Path(sidecar.__file__).parent / "py.typed").read_bytes() == b""
