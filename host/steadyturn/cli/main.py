"""The program's front door: parsing, help by stage, exit codes."""

from __future__ import annotations

import importlib
import io
import os
import signal
import sys

import click

from steadyturn import __version__
from steadyturn.cli.table import COMMANDS, STAGES
from steadyturn.errors import Failed, WrongInput


class StagedGroup(click.Group):
    """A group that imports a command's module only when that command is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return [name for _, name, _, _ in COMMANDS]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        for _, name, module, _ in COMMANDS:
            if name == cmd_name:
                loaded = importlib.import_module(f"steadyturn.cli.{module}")
                command: click.Command = loaded.command
                command.name = name
                return command
        return None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        try:
            return super().resolve_command(ctx, args)
        except click.UsageError:
            import difflib

            near = difflib.get_close_matches(args[0], self.list_commands(ctx), n=1)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            raise click.UsageError(
                f"There is no command '{args[0]}'.{hint} 'steadyturn --help' lists them.", ctx
            ) from None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for stage in STAGES:
            rows = [(name, line) for s, name, _, line in COMMANDS if s == stage]
            if rows:
                with formatter.section(stage):
                    formatter.write_dl(rows, col_max=12)


@click.group(
    cls=StagedGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80},
)
@click.version_option(__version__, "-V", "--version", prog_name="steadyturn")
@click.option("--json", "as_json", is_flag=True,
              help="Without a command: print what it sees as one JSON object.")
@click.pass_context
def main(ctx: click.Context, as_json: bool) -> None:
    """Plan, build, run and review a hand-turned phone charger.

    Run without a command, it shows which rig and board it sees, the last pull,
    and one next step. 'steadyturn demo' plays the whole job without hardware.
    """
    if ctx.invoked_subcommand is None:
        importlib.import_module("steadyturn.cli.home").command(as_json)
    elif as_json:
        raise click.UsageError(
            f"--json stands after the command: steadyturn {ctx.invoked_subcommand} --json", ctx)


def run(args: list[str] | None = None) -> None:
    """Run the program and end the process with its exit code."""
    _fill_closed_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a file's name may be no text of this terminal
            stream.reconfigure(errors="backslashreplace")
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # as Ctrl-C: nothing half done
    status = code(args)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # what it did is said: it ends as it went
    # CPython remembers a Ctrl-C that fell into an exec, as dataclasses make, and would end by
    # the signal whatever came of it; another exec makes it forget
    exec("")
    sys.exit(status)


def _fill_closed_streams() -> None:
    """A stream that the caller closed is None, and a file opened later would get its number:
    what is printed would end up in that file."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def code(args: list[str] | None = None) -> int:
    """Run the program; 0 done, 1 the answer is no or something failed, 2 wrong input."""
    try:
        result = main.main(args=args, prog_name="steadyturn", standalone_mode=False)
        sys.stdout.flush()
    except click.exceptions.Exit as leave:
        return leave.exit_code
    except click.ClickException as wrong:
        _say_usage(wrong)
        return wrong.exit_code
    except WrongInput as wrong:
        for problem in wrong.problems:
            _say("wrong: ", str(problem))
        return 2
    except Failed as failed:
        _say("failed: ", failed.what)
        if failed.how:
            _say("        ", failed.how)
        return 1
    except (KeyboardInterrupt, click.Abort):
        click.echo("\nstopped by you", err=True)
        return 1
    except BrokenPipeError:  # the reader (head, less) has gone
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as failed:
        from steadyturn.cli import denied as matter

        denied = matter.problem(failed, sys.argv[1:] if args is None else args)
        if denied is not None:
            _say("wrong: ", str(denied))
            return 2
        name = f"{failed.filename}: " if failed.filename else ""
        _say("failed: ", f"{name}{failed.strerror or failed}")
        return 1
    return result if isinstance(result, int) else 0


def _say(head: str, text: str) -> None:
    """One message to a person, on the error stream, lines after the first indented."""
    from steadyturn.report.style import item

    click.echo(item(text, mark=head, indent=""), err=True)


def _say_usage(wrong: click.ClickException) -> None:
    """What click says of a wrong command line, as every other wrong input is said."""
    said = wrong.format_message().strip()
    said = f"{said[:1].upper()}{said[1:]}" + ("" if said.endswith((".", "?")) else ".")
    where, how = "", ""
    ctx = wrong.ctx if isinstance(wrong, click.UsageError) else None
    if isinstance(wrong, click.NoSuchOption):
        near = f" Did you mean {' or '.join(wrong.possibilities)}?" if wrong.possibilities else ""
        where, said = f"{wrong.option_name}: ", f"there is no such option.{near}"
    elif isinstance(wrong, click.MissingParameter) and wrong.param is not None:
        where, said = f"{_named(wrong.param)}: ", "is needed."
    elif isinstance(wrong, click.BadParameter) and wrong.param is not None:
        where, said = f"{_named(wrong.param)}: ", wrong.message
    if ctx is not None and ctx.parent is not None:
        how = f" '{ctx.command_path} --help' says what there is."
    _say("wrong: ", f"{where}{said}{how}")


def _named(param: click.Parameter) -> str:
    """As it is typed: the option, or the argument's name."""
    return param.opts[0] if isinstance(param, click.Option) else param.human_readable_name
