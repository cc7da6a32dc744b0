"""A group of verbs that offers near names. It imports little, so that ``hardiness --help`` answers at once."""

from __future__ import annotations

import click

from hardiness.errors import near_name


class NearNames(click.Group):
    """A group for which no word, or an unknown one, is wrong use: it shows the words, or offers the nearest."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Show the help on stderr and end with 2 where no word is given."""
        if not args and not ctx.resilient_parsing:
            click.echo(ctx.get_help(), err=True)
            ctx.exit(2)
        return super().parse_args(ctx, args)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the word's command."""
        known = self.list_commands(ctx)
        if args[0] not in known and not args[0].startswith("-"):
            hint = near_name(args[0], known)
            raise click.UsageError(f"there is no '{ctx.command_path} {args[0]}'. {hint or ''}".rstrip(), ctx)
        return super().resolve_command(ctx, args)
