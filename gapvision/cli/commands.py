"""Commands by name, each loaded when it is asked for: one does not wait for the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import typer
from typer.core import TyperGroup

SETTINGS: dict[str, Any] = {
    "add_completion": False, "pretty_exceptions_enable": False, "rich_markup_mode": None,
}  # fmt: skip


def group_of(places: Mapping[str, str], help: str) -> typer.Typer:
    """A group of commands, of which only those are loaded that are asked for; its help asks for all.

    Parameters
    ----------
    places : mapping of str to str
        Where each command is, ``module:name`` of a function or of a group, in the order of the help.
    help : str
    """

    class Group(TyperGroup):
        def __init__(self, **more: Any) -> None:
            super().__init__(**more)
            self.commands: Any = _Loaded(places)

    app = typer.Typer(cls=Group, no_args_is_help=True, **SETTINGS)
    app.callback(help=help)(
        _nothing
    )  # without which it would be no group, as it has no commands yet
    return app


class _Loaded(Mapping[str, Any]):
    """Typer's commands by name, each made when it is first looked up."""

    def __init__(self, places: Mapping[str, str]) -> None:
        self._places, self._made = places, dict[str, Any]()

    def __getitem__(self, name: str) -> Any:
        if name not in self._made:
            module, _, inside = self._places[name].partition(":")
            self._made[name] = _made(name, getattr(import_module(module), inside))
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._places)


def _made(name: str, found: Any) -> Any:
    if isinstance(found, typer.Typer):
        return typer.main.get_command(found)
    alone = typer.Typer(**SETTINGS)
    alone.command(name)(found)
    return typer.main.get_command(alone)


def _nothing() -> None:
    """What a group does before its command."""
