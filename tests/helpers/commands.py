"""The command line as a test runs it."""

from typer.testing import CliRunner

from gapvision.cli import main as cli


def run(*args, **more):
    """The result of a command; ``more`` as `CliRunner.invoke` takes it, such as ``input``."""
    return CliRunner().invoke(cli.app, [str(a) for a in args], **more)
