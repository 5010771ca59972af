"""What of a package its entry reaches, from the source alone: which modules are imported, which names are used.

A name at the top of a module is followed exactly, through imports and packages that hand it on. A method is reached
when its class is and any reached code has an attribute of its name: types are not known here, so what this finds
unreached surely is, and a little that is unreached stays hidden. A public name is one without an underscore in front.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

Function = ast.FunctionDef | ast.AsyncFunctionDef
Imports = dict[str, tuple[str, str | None]]
"""A module, or a name in it, by what it is called here."""
FOREIGN_HOOKS = frozenset({"run", "event", "paint", "emit", "callback"})
"""Names of one word that other people's base classes call; those of Qt are found by their capitals."""


@dataclass
class Module:
    """One file."""

    name: str
    is_package: bool
    top: dict[str, list[ast.stmt]] = field(default_factory=dict)
    """What makes each name at its top."""
    loose: list[ast.stmt] = field(default_factory=list)
    """What runs when it is imported, and makes no name."""
    imports: Imports = field(default_factory=dict)
    """What a name stands for: a module, or a name in it."""


def read(root: Path) -> dict[str, Module]:
    """All modules of the package in this folder, by name."""
    out = {}
    for path in sorted(root.rglob("*.py")):
        parts = [root.name, *path.relative_to(root).with_suffix("").parts]
        is_package = parts[-1] == "__init__"
        name = ".".join(parts[:-1] if is_package else parts)
        module = out[name] = Module(name, is_package)
        for statement in ast.parse(path.read_text(encoding="utf-8")).body:
            names = [] if _is_registered(statement, module) else _made_by(statement)
            for made in names:
                module.top.setdefault(made, []).append(statement)
            if not names:
                module.loose.append(statement)
        for statement in module.loose:
            module.imports |= _imports(statement)
    return out


def _made_by(statement: ast.stmt) -> list[str]:
    if isinstance(statement, Function | ast.ClassDef):
        return [statement.name]
    targets = statement.targets if isinstance(statement, ast.Assign) else []
    targets = [statement.target] if isinstance(statement, ast.AnnAssign) else targets
    return [node.id for target in targets for node in ast.walk(target) if isinstance(node, ast.Name)]


def _is_registered(statement: ast.stmt, module: Module) -> bool:
    """Whether something made above in the same file takes it: ``@app.command(...)``. It needs no name then."""
    decorators = statement.decorator_list if isinstance(statement, Function) else []
    roots = [node for one in decorators for node in ast.walk(one) if isinstance(node, ast.Attribute)]
    return any(isinstance(node.value, ast.Name) and node.value.id in module.top for node in roots)


def _imports(tree: ast.AST) -> Imports:
    out: Imports = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                out[alias.asname or alias.name.split(".")[0]] = (
                    (alias.name, None) if alias.asname else (alias.name.split(".")[0], None)
                )
        elif isinstance(node, ast.ImportFrom):
            out |= {alias.asname or alias.name: (node.module or "", alias.name) for alias in node.names}
    return out


Name = tuple[str, str]
"""A module, and a name at its top."""


class Walk:
    """Everything that the modules `entries` reach."""

    def __init__(self, modules: dict[str, Module], *entries: str) -> None:
        self._all = modules
        self._root = next(iter(modules)).partition(".")[0]
        self.modules: set[str] = set()
        self.names: set[Name] = set()
        self.attributes: set[str] = set()
        self._methods: dict[str, list[tuple[str, Function]]] = {}
        """Methods of reached classes by name, with their modules, until something has an attribute of that name."""
        self._plugins: set[str] = set()
        self._todo: list[tuple[str, ast.AST]] = []
        for entry in entries:
            self._import(entry)
        while self._todo:
            self._visit(*self._todo.pop())

    def unreached(self) -> Iterator[str]:
        """Modules, and of the reached ones public names and methods, that nothing here reaches."""
        for module in self._all.values():
            if module.name not in self.modules:
                yield module.name
                continue
            for name, statements in module.top.items():
                if name.startswith("_"):
                    continue
                if (module.name, name) not in self.names:
                    yield f"{module.name}.{name}"
                else:
                    yield from (f"{module.name}.{name}.{one}" for one in self._unused_methods(statements))

    def _unused_methods(self, statements: list[ast.stmt]) -> Iterator[str]:
        waiting = {id(method) for methods in self._methods.values() for _, method in methods}
        for statement in statements:
            for one in statement.body if isinstance(statement, ast.ClassDef) else []:
                if isinstance(one, Function) and id(one) in waiting and not one.name.startswith("_"):
                    yield one.name

    # ── reaching ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _import(self, name: str) -> None:
        """A module, and the packages that it lies in."""
        parts = name.split(".")
        for length in range(1, len(parts) + 1):
            part = ".".join(parts[:length])
            if part in self._all and part not in self.modules:
                self.modules.add(part)
                self._todo += [(part, statement) for statement in self._all[part].loose]

    def _reach(self, module: str, name: str) -> None:
        """A name at the top of a module, or what it is handed on from."""
        self._import(f"{module}.{name}")
        if module in self._all:
            self._import(module)
            here = self._all[module]
            if name in here.top:
                if (module, name) not in self.names:
                    self.names.add((module, name))
                    self._todo += [(module, statement) for statement in here.top[name]]
            elif here.imports.get(name, (module, name)) != (module, name):
                target, inner = here.imports[name]
                self._import(target) if inner is None else self._reach(target, inner)

    def _attribute(self, name: str) -> None:
        if name not in self.attributes:
            self.attributes.add(name)
            self._todo += self._methods.pop(name, [])
            for plugin in self._plugins:
                self._offer(plugin, name)

    def _offer(self, plugin: str, name: str) -> None:
        if name in self._all[plugin].top:
            self._reach(plugin, name)

    def _plug_in(self, package: str) -> None:
        """The modules of a package that looks for them by itself: what is taken from them is an attribute."""
        for name in self._all:
            if name.startswith(f"{package}.") and name not in self._plugins:
                self._plugins.add(name)
                self._import(name)
                for attribute in self.attributes:
                    self._offer(name, attribute)

    # ── looking into code ────────────────────────────────────────────────────────────────────────────────────────

    def _visit(self, module: str, tree: ast.AST) -> None:
        if isinstance(tree, ast.ClassDef):
            self._visit_class(module, tree)
        elif not isinstance(tree, ast.Import | ast.ImportFrom):
            self._visit_code(module, tree)
        else:
            self._visit_import(tree)

    def _visit_class(self, module: str, tree: ast.ClassDef) -> None:
        foreign = self._is_foreign(module, tree)
        for part in [*tree.decorator_list, *tree.bases, *tree.keywords]:
            self._visit_code(module, part)
        for part in tree.body:
            if not isinstance(part, Function):
                self._visit_code(module, part)
            elif self._is_called_by_others(part, foreign=foreign) or part.name in self.attributes:
                self._todo.append((module, part))
            else:
                self._methods.setdefault(part.name, []).append((module, part))

    def _is_called_by_others(self, method: Function, *, foreign: bool) -> bool:
        special = method.name.startswith("__") and method.name.endswith("__")
        return special or (foreign and (method.name != method.name.lower() or method.name in FOREIGN_HOOKS))

    def _is_foreign(self, module: str, tree: ast.ClassDef) -> bool:
        """Whether a base of it, or of one of its bases, is not of this package."""
        for base in tree.bases:
            place = self._place(module, base, {})
            found = [] if place is None else self._definitions(*place)
            if not found or any(self._is_foreign(where, one) for where, one in found):
                return True
        return False

    def _definitions(self, module: str, name: str) -> list[tuple[str, ast.ClassDef]]:
        here = self._all.get(module)
        if here is None:
            return []
        if name in here.top:
            return [(module, one) for one in here.top[name] if isinstance(one, ast.ClassDef)]
        target, inner = here.imports.get(name, ("", None))
        return self._definitions(target, inner) if inner is not None else []

    def _visit_import(self, node: ast.Import | ast.ImportFrom) -> None:
        if isinstance(node, ast.Import):
            for alias in node.names:
                self._import(alias.name)
            return
        self._import(node.module or "")
        for alias in node.names:
            self._import(f"{node.module}.{alias.name}")

    def _visit_code(self, module: str, tree: ast.AST) -> None:
        own = _imports(tree)
        hidden = _bound(tree) - own.keys() if isinstance(tree, Function) else frozenset()
        for node in ast.walk(tree):
            if isinstance(node, ast.Import | ast.ImportFrom):
                self._visit_import(node)
            elif isinstance(node, ast.Name | ast.Attribute):
                self._visit_name(module, node, own, hidden)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                self._import_program(node.value)
            elif isinstance(node, ast.Tuple):
                self._visit_pair(node)
            elif isinstance(node, ast.Call):
                self._visit_call(module, node)

    def _visit_name(
        self,
        module: str,
        node: ast.Name | ast.Attribute,
        own: Imports,
        hidden: frozenset[str],
    ) -> None:
        if isinstance(node, ast.Name) and node.id in hidden:
            return
        place = self._place(module, node, own)
        if place is not None:
            self._reach(*place)
        elif isinstance(node, ast.Attribute):
            self._attribute(node.attr)

    def _import_program(self, name: str) -> None:
        """A module that is run as a process of its own, or one line of code that is."""
        for one in (name, f"{name}.__main__"):
            self._import(one) if one in self._all else None
        if f"import {self._root}" in name or f"from {self._root}" in name:
            with suppress(SyntaxError):
                self._visit_code(self._root, ast.parse(name))

    def _visit_pair(self, node: ast.Tuple) -> None:
        """A module's name and one at its top, as texts."""
        texts = [one.value for one in node.elts if isinstance(one, ast.Constant) and isinstance(one.value, str)]
        if len(texts) == 2 and texts[0] in self._all:
            self._reach(texts[0], texts[1])

    def _visit_call(self, module: str, node: ast.Call) -> None:
        called = ast.unparse(node.func)
        if called == "pkgutil.iter_modules":
            self._plug_in(module)
        if called in ("getattr", "hasattr") and len(node.args) > 1 and isinstance(node.args[1], ast.Constant):
            self._attribute(str(node.args[1].value))

    def _place(self, module: str, node: ast.AST, own: Imports) -> Name | None:
        """Where a name stands at the top of a module; None for what is no such name."""
        if isinstance(node, ast.Name):
            target, inner = own.get(node.id) or self._all[module].imports.get(node.id, ("", None))
            if inner is not None:
                return (target, inner)
            return (module, node.id) if node.id in self._all[module].top else None
        if isinstance(node, ast.Attribute):
            whole = self._module_of(module, node.value, own)
            return None if whole is None else (whole, node.attr)
        return None

    def _module_of(self, module: str, node: ast.AST, own: Imports) -> str | None:
        """The module that an expression stands for."""
        if isinstance(node, ast.Name):
            target, inner = own.get(node.id) or self._all[module].imports.get(node.id, ("", None))
            name = target if inner is None else f"{target}.{inner}"
            return name if name in self._all else None
        if isinstance(node, ast.Attribute):
            outer = self._module_of(module, node.value, own)
            return f"{outer}.{node.attr}" if outer is not None and f"{outer}.{node.attr}" in self._all else None
        return None


def _bound(tree: ast.AST) -> frozenset[str]:
    """Names that a function makes itself: not those at the top of its module."""
    names = {node.arg for node in ast.walk(tree) if isinstance(node, ast.arg)}
    names |= {node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store)}
    shared = {name for node in ast.walk(tree) if isinstance(node, ast.Global) for name in node.names}
    return frozenset(names - shared)
