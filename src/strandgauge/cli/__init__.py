"""The command line: thin commands over the package, and the one place where errors become text."""


def main() -> None:
    """Run the command line and leave with its exit code."""
    import gc

    # All that is loaded now stays: the collector need not go through it again and again until a command runs.
    gc.disable()
    from strandgauge.cli.app import run

    raise SystemExit(run())
