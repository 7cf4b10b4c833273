"""A page served for the tests of one module, and what is not needed where no photograph is looked at."""

import pytest
from helpers.pages import client, new_joint, serving


async def _nothing(*_):
    pass


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """The address of a page and the folder of its drafts; its workers begin when they are needed."""
    with pytest.MonkeyPatch.context() as patch, serving_quietly(tmp_path_factory, patch) as it:
        yield it


def serving_quietly(tmp_path_factory, patch, **more):
    patch.setattr("gapvision.page.app.warm", _nothing)
    return serving(tmp_path_factory.mktemp("served") / "archive", **more)


@pytest.fixture
def page(served):
    with client(served[0]) as asking:
        yield asking


@pytest.fixture
def drafts(served):
    return served[1]


@pytest.fixture
def joint(page):
    """The address of a joint just begun."""
    return new_joint(page)
