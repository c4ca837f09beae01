"""Whatever a person can do by a service can be done at a page, by a command, a task or the API; found from the code.

A service writes: it is a transaction, or records events. Whatever is public in a module that has one must have a door,
which leads to it through as many functions as there are. The demo is no door: nobody works in it.
"""

import ast
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
DOMAIN = ("treatments", "scheduling", "claims", "notifications")
APPS = (*DOMAIN, "desk", "api", "config")
# What no door leads to, each with the reason.
WITHOUT_A_DOOR = {
    "scheduling.season.services.accept_proposals": "the worker accepts them one by one; for tests",
    "scheduling.season.services.draft_season_plan": "both halves of it have a door; for tests",
}

Name = tuple[str, str]


@dataclass
class Module:
    """One module: what it defines at its top, and what its names stand for that come from elsewhere."""

    path: Path
    tree: ast.Module
    imports: dict[str, Name | str] = field(default_factory=dict)
    defined: dict[str, ast.stmt] = field(default_factory=dict)


def read_modules() -> dict[str, Module]:
    found = {}
    for app in APPS:
        for path in sorted((ROOT / app).rglob("*.py")):
            place = path.relative_to(ROOT).with_suffix("")
            if "migrations" in place.parts or place.parts[:2] == ("desk", "demo"):
                continue
            parts = place.parts[:-1] if place.name == "__init__" else place.parts
            found[".".join(parts)] = Module(path, ast.parse(path.read_text("utf-8")))
    for module in found.values():
        for node in ast.walk(module.tree):
            if isinstance(node, ast.ImportFrom) and node.module and not node.level:
                for alias in node.names:
                    whole = f"{node.module}.{alias.name}"
                    module.imports[alias.asname or alias.name] = whole if whole in found else (node.module, alias.name)
            elif isinstance(node, ast.Import):
                module.imports |= {alias.asname: alias.name for alias in node.names if alias.asname}
        for statement in module.tree.body:
            for name in list_defined(statement):
                module.defined[name] = statement
    return found


def list_defined(statement: ast.stmt) -> Iterator[str]:
    if isinstance(statement, ast.FunctionDef | ast.ClassDef):
        yield statement.name
    elif isinstance(statement, ast.Assign | ast.AnnAssign):
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        yield from (target.id for target in targets if isinstance(target, ast.Name))


def resolve(modules: dict[str, Module], module: str, name: str) -> Name | None:
    """Return where a name that a module uses is defined, None for what is not ours."""
    seen = set()
    while (module, name) not in seen:
        seen.add((module, name))
        here = modules.get(module)
        if here is None:
            return None
        if name in here.defined:
            return module, name
        origin = here.imports.get(name)
        if not isinstance(origin, tuple):
            return None
        module, name = origin
    return None


def list_used(modules: dict[str, Module], module: str, node: ast.AST) -> Iterator[Name]:
    """Yield what a piece of a module's code names, where it is ours."""
    imports = modules[module].imports
    for part in ast.walk(node):
        if isinstance(part, ast.Name):
            found = resolve(modules, module, part.id)
        elif isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name):
            origin = imports.get(part.value.id)
            found = resolve(modules, origin, part.attr) if isinstance(origin, str) else None
        else:
            continue
        if found is not None:
            yield found


def is_door(module: str) -> bool:
    """Say whether people, machines, the clock or a signal of Django come in at a module."""
    parts = module.split(".")
    is_command = parts[1:3] == ["management", "commands"] and parts[-1] != "demo"
    return is_command or parts[0] in ("desk", "api") or parts[-1] in ("tasks", "admin", "celery", "apps")


def is_public(node: ast.stmt) -> bool:
    return isinstance(node, ast.FunctionDef) and not node.name.startswith("_")


def writes(node: ast.stmt) -> bool:
    if not isinstance(node, ast.FunctionDef):
        return False
    is_transaction = any("atomic" in ast.unparse(decorator) for decorator in node.decorator_list)
    records = any(isinstance(part, ast.Name) and part.id == "record_events" for part in ast.walk(node))
    return is_transaction or records


def find_reached(modules: dict[str, Module]) -> set[Name]:
    """Return everything that a door leads to."""
    waiting = []
    for name, module in modules.items():
        if is_door(name):
            waiting += list(list_used(modules, name, module.tree))
    reached: set[Name] = set()
    while waiting:
        found = waiting.pop()
        if found not in reached:
            reached.add(found)
            waiting += list(list_used(modules, found[0], modules[found[0]].defined[found[1]]))
    return reached


def list_services(modules: dict[str, Module]) -> set[Name]:
    """Return every public function of each module of a domain app in which one writes."""
    return {
        (name, defined)
        for name, module in modules.items()
        if name.split(".")[0] in DOMAIN and any(is_public(node) and writes(node) for node in module.defined.values())
        for defined, node in module.defined.items()
        if is_public(node)
    }


def test_every_service_is_reached_by_a_door() -> None:
    modules = read_modules()
    services, reached = list_services(modules), find_reached(modules)
    assert len(services) > 100 and len(reached) > 500, "the walk finds what there is"
    without = {f"{module}.{name}" for module, name in services - reached}
    assert without == set(WITHOUT_A_DOOR), sorted(without ^ set(WITHOUT_A_DOOR))


def test_the_walk_sees_a_service_that_only_tests_call() -> None:
    modules = read_modules()
    source = "@transaction.atomic\ndef do_it() -> None:\n    hidden()\n\ndef hidden() -> None:\n    record_events([])\n"
    tree = ast.parse(source)
    lonely = Module(Path("lonely.py"), tree, {}, {node.name: node for node in tree.body})  # type: ignore[attr-defined]
    modules["treatments.lonely"] = lonely
    new = {("treatments.lonely", "do_it"), ("treatments.lonely", "hidden")}
    assert new <= list_services(modules) and not new & find_reached(modules)
    door = ast.parse("from treatments.lonely import do_it as act\nact()\n")
    modules["desk.views.lonely"] = Module(Path("door.py"), door, {"act": ("treatments.lonely", "do_it")})
    assert new <= find_reached(modules)
