"""What a browser needs to keep these pages as an app: manifest and worker, both open to all who reach us."""

from flask import Blueprint, Response, current_app, jsonify, url_for

from web.sign_in.roles import at_the_door


def blueprint() -> Blueprint:
    pages = Blueprint("installed", __name__)

    @pages.get("/manifest.webmanifest")
    @at_the_door
    def manifest() -> Response:
        drop = {"src": url_for("static", filename="mark.svg"), "sizes": "any", "type": "image/svg+xml"}
        pictures = [
            {
                "src": url_for("static", filename=f"icon-{side}.png"),
                "sizes": f"{side}x{side}",
                "type": "image/png",
                "purpose": purpose,
            }
            for side in (192, 512)
            for purpose in ("any", "maskable")
        ]
        answer = jsonify(
            id="/",
            name="sorbwatch: drying and storage of filament",
            short_name="sorbwatch",
            start_url="/",
            scope="/",
            display="standalone",
            background_color="#f3f0e8",
            theme_color="#1c282a",
            icons=[*pictures, drop],
            shortcuts=[{"name": "Ovens: stop heating", "url": url_for("ovens.show_all")}],
        )
        answer.mimetype = "application/manifest+json"
        return answer

    @pages.get("/push-worker.js")
    @at_the_door
    def worker() -> Response:
        """At the root, since a worker minds only what lies below it."""
        return current_app.send_static_file("push-worker.js")

    return pages
