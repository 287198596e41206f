"""`optdescent report`: one page from stored results, that can be handed on."""

from __future__ import annotations

from pathlib import Path

import click

from optdescent.cli.options import debug_option, json_option
from optdescent.cli.say import guarded, say_json


@click.command(
    epilog="Example: optdescent report out -o out --tables latex",
    short_help="A self-contained page from results.",
)
@click.argument("results", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="RESULT...")
@click.option(
    "-o",
    "--output",
    type=click.Path(path_type=Path),
    default=Path("out"),
    show_default=True,
    help="Folder for report.html, or the page itself if it ends in .html.",
)
@click.option("--title", default="", help="Title of the page [default: that of the results].")
@click.option(
    "--tables",
    "forms",
    multiple=True,
    type=click.Choice(["csv", "markdown", "latex"]),
    help="Also write every table beside the page, in a folder named tables; may be repeated.",
)
@json_option
@debug_option
def report(
    results: tuple[Path, ...], output: Path, title: str, forms: tuple[str, ...], as_json: bool, debug: bool
) -> None:
    """Write one page of HTML from stored results: answers, inputs, figures, tables, method, certificate, cautions.

    RESULT is a file that another command wrote (.nc, the Zarr folder of a sweep, last_useful.csv), or a folder: then
    every result in it. The page needs no network and prints on A4; its tables sort.
    """
    guarded(lambda: _report(results, output, title, forms, as_json), debug)


def _report(results: tuple[Path, ...], output: Path, title: str, forms: tuple[str, ...], as_json: bool) -> None:
    from optdescent.caution import CAUTION
    from optdescent.cli.write import check_output
    from optdescent.report import compose, read_given, write_page, write_tables
    from optdescent.results.files import Fault, InputFault
    from optdescent.results.tables import Form

    page = output if output.suffix.lower() == ".html" else output / "report.html"
    check_output(page.parent)
    if page.is_dir():
        raise InputFault([Fault(str(page), "", "is a folder", "a name for a page")])
    given = read_given(results)
    made = compose(given, title)
    files = [page]
    write_page(made, page)
    for form in dict.fromkeys(forms):
        files += write_tables(made, page.parent / "tables", Form(form))
    if as_json:
        say_json(
            {
                "title": made.title,
                "results": [
                    {"file": str(one.file), "is": one.what, "digest": one.provenance.scenario_digest} for one in given
                ],
                "answers": list(made.answers),
                "figures": [picture.title for picture in made.pictures.drawn],
                "figures_not_drawn": list(made.pictures.not_drawn),
                "tables": [table.name for table in made.all_tables],
                "page_bytes": page.stat().st_size,
                "files": [str(file) for file in files],
                "caution": CAUTION,
            }
        )
        return
    click.echo(f"{made.title}: {len(made.pictures.drawn)} figures, {len(made.all_tables)} tables")
    for sentence in (*made.answers, *made.pictures.not_drawn):
        click.echo(f"  {sentence}")
    for file in files:
        click.echo(file)
    click.echo(CAUTION)
