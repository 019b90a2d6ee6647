"""Examples in the docstrings run; hints on public names resolve; documented names exist."""

import ast
import doctest
import importlib
import inspect
import pkgutil
from typing import get_type_hints

import pytest

import optics

# Only to look at: these start something when imported or need a running notebook.
NOT_RUN = {"optics.__main__"}
MODULES = sorted(
    {"optics"} | {module.name for module in pkgutil.walk_packages(optics.__path__, "optics.")} - NOT_RUN
)


def names_for_hints(module):
    """What a module imports for its hints alone, under TYPE_CHECKING."""
    names = {}
    for node in ast.walk(ast.parse(inspect.getsource(module))):
        if isinstance(node, ast.If) and getattr(node.test, "id", "") == "TYPE_CHECKING":
            exec(compile(ast.Module(node.body, []), module.__file__, "exec"), names)
    return names


def public(module):
    """What a module defines itself under a name without underscore, and the public methods of its classes."""
    for name, thing in vars(module).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module.__name__:
            continue
        yield name, thing
        if inspect.isclass(thing):
            for member, value in vars(thing).items():
                if not member.startswith("_") and (inspect.isfunction(value) or isinstance(value, property)):
                    yield f"{name}.{member}", value.fget if isinstance(value, property) else value


@pytest.mark.parametrize("name", MODULES)
def test_examples_run(name):
    module = importlib.import_module(name)
    assert doctest.testmod(module).failed == 0


def test_there_are_examples():
    """Guards the test above against finding nothing."""
    tried = sum(
        doctest.testmod(importlib.import_module(name)).attempted
        for name in ("optics.lens.power", "optics.lens.angles")
    )
    assert tried > 10


@pytest.mark.parametrize("name", MODULES)
def test_hints_resolve(name):
    module = importlib.import_module(name)
    extra = names_for_hints(module)
    for called, thing in public(module):
        if inspect.isclass(thing) or inspect.isfunction(thing):
            get_type_hints(thing, localns=extra)
        if inspect.isfunction(thing) and thing.__name__ != "<lambda>":
            signature = inspect.signature(thing)
            assert signature.return_annotation is not inspect.Signature.empty, (
                f"{called} says not what it returns"
            )


@pytest.mark.parametrize("name", MODULES)
def test_public_names_exist_and_are_described(name):
    module = importlib.import_module(name)
    assert module.__doc__, f"{name} says not what it is"
    for called in getattr(module, "__all__", ()):
        assert hasattr(module, called), f"{name} names {called} but has none"
    for called, thing in public(module):
        if inspect.isclass(thing) or inspect.isfunction(thing):
            assert inspect.getdoc(thing), f"{name}.{called} has no docstring"
