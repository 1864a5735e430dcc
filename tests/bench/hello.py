"""The yardstick of start-up: a minimal typer program that prints a table with rich."""

from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

app = typer.Typer()


@app.command()
def hello(name: Annotated[str, typer.Option(help="who is greeted")] = "skiff") -> None:
    """Print a table."""
    table = Table("what", "value")
    table.add_row("name", name)
    table.add_row("oars", "2")
    Console().print(table)


if __name__ == "__main__":
    app()
