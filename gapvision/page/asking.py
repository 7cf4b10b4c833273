"""What a request is about: the drafts and jobs, one draft, and what this phone prefers."""

from __future__ import annotations

from starlette.requests import Request

from gapvision.inputs.preferences import load_preferences
from gapvision.page.drafts import Draft, load_draft
from gapvision.page.jobs import Jobs, as_it_is

LOOKS = ("auto", "light", "dark", "sun")
UNITS = ("mm", "in")


def jobs_of(request: Request) -> Jobs:
    """The drafts' folder, and what is at work in it."""
    return request.app.state.jobs


def draft_of(request: Request) -> Draft:
    """The draft of an address.

    Raises
    ------
    NoDraft
    """
    jobs = jobs_of(request)
    return as_it_is(jobs, load_draft(jobs.drafts, request.path_params["id"]))


def units_of(request: Request) -> str:
    """The units that this phone shows, else those that the person at the laptop prefers."""
    told = request.cookies.get("units")
    return told if told in UNITS else load_preferences().units or "mm"


def look_of(request: Request) -> str:
    """How this phone wants its screens."""
    told = request.cookies.get("look")
    return told if told in LOOKS else LOOKS[0]
