"""What a shell completes: rigs, situations and designs by name, and files."""

import click
from click.shell_completion import CompletionItem

from presolder.models.errors import InputError
from presolder.models.instrument.built_in import built_in_designs
from presolder.render.files.default_rig import default_rig
from presolder.render.files.rig_file import built_in_rigs, find_rig, find_situations


def complete_rigs(
    context: click.Context, parameter: click.Parameter, begun: str  # noqa: ARG001
) -> list[CompletionItem]:  # fmt: skip
    """Built-in rigs that begin so, and files."""
    return [*_beginning(begun, tuple(built_in_rigs())), CompletionItem(begun, type="file")]


def complete_designs(
    context: click.Context, parameter: click.Parameter, begun: str  # noqa: ARG001
) -> list[CompletionItem]:  # fmt: skip
    """Built-in designs that begin so, each with its title."""
    designs = built_in_designs(find_rig(default_rig().name))
    titles = {one.name: one.title for one in designs}
    return [
        CompletionItem(name, help=title) for name, title in titles.items() if name.startswith(begun)
    ]


def complete_situations(
    context: click.Context, parameter: click.Parameter, begun: str  # noqa: ARG001
) -> list[CompletionItem]:  # fmt: skip
    """Situations of the rig that stands on the line."""
    named = context.params.get("rig_names") or (default_rig().name,)
    try:
        situations = find_situations(named[-1])
    except InputError:
        return []
    return _beginning(begun, tuple(one.name for one in situations))


def _beginning(begun: str, names: tuple[str, ...]) -> list[CompletionItem]:
    return [CompletionItem(name) for name in names if name.startswith(begun)]
