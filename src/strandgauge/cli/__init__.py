"""The command line: thin commands over the package, and the one place where errors become text."""


def main() -> None:
    """Run the command line and leave with its exit code."""
    from strandgauge.cli.app import run

    raise SystemExit(run())
