"""The page on which targets are picked: one file, without any request to elsewhere."""

from __future__ import annotations

import base64
import hashlib

from accuracy.pick.scenes import PASSES, Made
from accuracy.reports.as_html import _json, environment, packaged, safe
from accuracy.reports.words import printable

PICKS_FORMAT = "accuracy-picks"


def pick_page(made: Made, title: str) -> bytes:
    """Give the page: UTF-8, self-contained.

    Parameters
    ----------
    made : Made
        The scenes in the order in which they are shown.
    title : str
        Of the job.
    """
    script = packaged("pick.js")
    data = {
        "format": PICKS_FORMAT,
        "title": printable(title),
        "passes": PASSES,
        "systems": {printable(name): printable(told) for name, told in made.systems.items()},
        "scenes": [
            {
                "id": scene.id,
                "shown": printable(scene.id),
                "source": scene.source,
                "kind": scene.kind,
                "pass": scene.number,
                "cols": scene.cols,
                "rows": scene.rows,
                "transform": list(scene.transform),
                "metres": list(scene.metres),
                "png": base64.b64encode(scene.png).decode("ascii"),
            }
            for scene in made.scenes
        ],
    }
    page = (
        environment()
        .get_template("pick.html")
        .render(
            title=title,
            style=safe(packaged("pick.css")),
            script=safe(script),
            script_hash=base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode(),
            data=safe(_json(data)),
        )
    )
    return page.encode("utf-8")
