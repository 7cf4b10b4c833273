"""`--cluster` and `--shared`: many joints measured on the workers of a Dask scheduler."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from gapvision.cli.terminal import say

if TYPE_CHECKING:
    from gapvision.day.cluster import Cluster

JobsOption = Annotated[
    int | None,
    typer.Option(
        min=1, metavar="N", help="Of many joints: how many at a time.  [default: a core each]"
    ),
]
ClusterOption = Annotated[
    str | None,
    typer.Option(
        metavar="ADDRESS",
        help="Of many joints: measure them on the workers of this Dask scheduler, as "
        "tcp://10.0.0.5:8786.",
    ),
]
SharedOption = Annotated[
    bool,
    typer.Option(
        "--shared",
        help="With --cluster: photographs lie on a disk that all machines have at the same place, "
        "and are not sent.",
    ),
]


def check_cluster_usage(address: str | None, shared: bool, jobs: int | None) -> None:
    """Refuse what does not go together, as wrong usage."""
    if address is None and shared:
        raise typer.BadParameter("goes with --cluster.", param_hint="--shared")
    if address is not None and jobs is not None:
        text = "a cluster has as many as it has workers: leave one of them out."
        raise typer.BadParameter(text, param_hint="--jobs, --cluster")


@contextmanager
def joined_cluster(address: str | None, shared: bool) -> Iterator[Cluster | None]:
    """The cluster that was named, None where none was."""
    if address is None:
        yield None
        return
    from gapvision.day.cluster import joined

    with joined(address, shared, partial(say, err=True)) as cluster:
        yield cluster


def cores() -> int:
    """How many joints at a time where it was not said."""
    from joblib import cpu_count

    return cpu_count()
