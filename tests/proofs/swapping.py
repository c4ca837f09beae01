"""How a change of one rule is put in the place of the rule in a process that has loaded it.

The code of functions, the constants of the module and the defaults of its dataclasses can be swapped. Other changes,
such as one in a table of the module, need the module to be loaded anew.
"""

import inspect
import re
import sys
from collections.abc import Iterator, Mapping
from datetime import timedelta
from decimal import Decimal
from types import CodeType, FunctionType, ModuleType
from typing import Any

from tests.proofs.mutations import Mutant, find_file

CO_NEWLOCALS = 0x2  # set in the code of functions, not in that of modules and classes
PLAIN = (int, float, str, Decimal, timedelta, re.Pattern, type(None))


def swap(mutant: Mutant, functions: Mapping[CodeType, list[FunctionType]]) -> bool:
    """Put the change in place; say whether that was possible.

    Args:
        functions: every function of the rules in this process, by its code.
    """
    file = str(find_file(mutant.module))
    old = compile(mutant.original, file, "exec")
    new = compile(mutant.source, file, "exec")
    pairs = list(zip(_walk_code(old), _walk_code(new), strict=False))
    if any(_says(a) != _says(b) for a, b in pairs if not a.co_flags & CO_NEWLOCALS):
        return _swap_values(mutant.module, new)
    is_swapped = False
    for before, after in pairs:
        for function in functions.get(before, ()):
            function.__code__ = after
            is_swapped |= before != after
    return is_swapped


def _walk_code(code: CodeType) -> Iterator[CodeType]:
    yield code
    for constant in code.co_consts:
        if isinstance(constant, CodeType):
            yield from _walk_code(constant)


def _says(code: CodeType) -> tuple[object, ...]:
    """Return what a module or a class does when it is loaded, but for the bodies of its functions."""
    constants = [c.co_qualname if isinstance(c, CodeType) else (type(c), c) for c in code.co_consts]
    return code.co_code, constants, code.co_names, code.co_qualname


def _swap_values(name: str, code: CodeType) -> bool:
    """Swap the constants of a module, wherever they were imported, and the defaults of its dataclasses."""
    live, scratch = sys.modules[name], ModuleType(name)
    exec(code, vars(scratch))
    is_swapped = False
    for key, value in list(vars(scratch).items()):
        held = vars(live).get(key)
        if key.startswith("__"):
            continue
        if isinstance(value, PLAIN) and type(value) is type(held) and value != held:
            for module in list(sys.modules.values()):
                if getattr(module, "__dict__", {}).get(key) is held:
                    setattr(module, key, value)
            is_swapped = True
        elif isinstance(value, type) and isinstance(held, type) and value.__module__ == name:
            is_swapped |= _swap_defaults(held.__init__, value.__init__)  # type: ignore[misc]
        elif callable(value) and callable(held):
            is_swapped |= _swap_defaults(inspect.unwrap(held), inspect.unwrap(value))
    return is_swapped


def _swap_defaults(live: Any, changed: Any) -> bool:
    before, after = getattr(live, "__defaults__", None), getattr(changed, "__defaults__", None)
    if not before or not after or len(before) != len(after):
        return False
    new = [b if isinstance(b, PLAIN) and a != b else a for a, b in zip(before, after, strict=True)]
    live.__defaults__ = tuple(new)
    return any(a is not b for a, b in zip(before, new, strict=True))
