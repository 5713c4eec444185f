"""steadyturn completion: the script that has a shell complete our commands."""

from __future__ import annotations

import click

SHELLS = ("bash", "zsh", "fish")


@click.command()
@click.argument("shell", type=click.Choice(SHELLS), metavar="|".join(SHELLS))
def command(shell: str) -> int:
    """Print the script that makes a shell complete commands, options and files.

    For bash, in ~/.bashrc: eval "$(steadyturn completion bash)"; for zsh likewise
    in ~/.zshrc; for fish: steadyturn completion fish > its folder completions,
    as steadyturn.fish.
    """
    from click.shell_completion import get_completion_class

    from steadyturn.cli.main import main

    found = get_completion_class(shell)
    assert found is not None  # click has all three
    script = found(main, {}, "steadyturn", "_STEADYTURN_COMPLETE")
    # not script.source(): for bash that starts one only to learn its version
    click.echo(script.source_template % script.source_vars(), nl=False)
    return 0
