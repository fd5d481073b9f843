"""The pages over a site whose starts may be planned for later."""

import re
from html import unescape

from support.ovens import HERE

from web import create_app


class Pages:
    """A browser on the board itself."""

    def __init__(self, made):
        site = made.site
        self.app = create_app(
            site.queries, site.changes, look_only=False, hosts=frozenset(), zone="UTC",
            desk=site.acts, planned=made.starts,
        )  # fmt: skip
        self.client = self.app.test_client()

    def page(self, path):
        response = self.client.get(path)
        assert response.status_code == 200, response.get_data(as_text=True)
        return response.get_data(as_text=True)

    def text(self, path):
        return text_of(self.page(path))

    def send(self, path, data):
        return self.client.post(path, data=data, headers=HERE)

    def fields(self, page, action):
        """The hidden fields of a form, as a browser sends them."""
        form = re.search(rf'<form method="post" action="{re.escape(action)}".*?</form>', page, re.S)[0]
        fields = {}
        for name, value in re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form):
            fields.setdefault(name, []).append(unescape(value))
        return fields | {"who": "Mira"}


def text_of(page):
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))
