"""The command line, from the commands themselves."""

from __future__ import annotations

import inspect
from collections.abc import Iterator

import click
from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent.cli import main
from optdescent_docs.text import block, code, paragraph, section, table

PROGRAM = "optdescent"
_AS_IT_STANDS = ("\b\n", "\\b\n")
"""Before a part of a help that is not to be wrapped."""
_EXAMPLE = "Example: "


def commands(group: click.Group = main, above: str = PROGRAM) -> Iterator[tuple[str, click.Command]]:
    """Every command with the words that call it, those of groups after their group."""
    for name, command in group.commands.items():
        yield f"{above} {name}", command
        if isinstance(command, click.Group):
            yield from commands(command, f"{above} {name}")


def examples(command: click.Command) -> list[str]:
    """Command lines that the help of a command ends with, each in a paragraph of its own."""
    told = (command.epilog or "").split("\n\n")
    return [part.removeprefix(_EXAMPLE) for part in told if part.startswith(_EXAMPLE)]


class CommandsDirective(SphinxDirective):
    """A section for each command: what it does, how it is called, its options, examples."""

    def run(self) -> list[nodes.Node]:
        """Sections in the order of the program's own help."""
        return [self._section(words, command) for words, command in commands()]

    def _section(self, words: str, command: click.Command) -> nodes.section:
        top = click.Context(main, info_name=PROGRAM, **main.context_settings)
        context = click.Context(command, info_name=words, parent=top)
        label = words.replace(PROGRAM, "command", 1)
        found = section(self.state.document, label, [code(words)])
        found += block(" ".join([words, *command.collect_usage_pieces(context)]), "none")
        for part in inspect.cleandoc(command.help or "").split("\n\n"):
            mark = next((mark for mark in _AS_IT_STANDS if part.startswith(mark)), "")
            found += block(part.removeprefix(mark), "none") if mark else paragraph(" ".join(part.split()))
        if figures := getattr(command, "figures", ()):
            found += table(("result", "figures"), [([code(result)], names) for result, names in figures], (38, 62))
        rows = [self._row(parameter, context) for parameter in command.get_params(context)]
        rows = [row for row in rows if row is not None]
        if rows:
            found += table(("option", "what it does"), rows, (38, 62))
        if lines := examples(command):
            found += block("\n".join(f"$ {line}" for line in lines), "console")
        return found

    def _row(self, parameter: click.Parameter, context: click.Context) -> tuple[list[nodes.Node], str] | None:
        record = parameter.get_help_record(context)
        return ([code(record[0])], record[1]) if record is not None and record[1] else None
