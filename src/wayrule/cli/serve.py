"""`wayrule serve`."""

import click

from wayrule.cli.options import json_option


@click.command("serve", short_help="The desk in a browser, on this machine or for a phone beside the track.")
@click.argument("folder", metavar="[FOLDER]", default=".")
@click.option("--port", metavar="N", type=click.IntRange(0, 65535), default=8470, help="8470; 0: any free.")
@click.option("--share", is_flag=True, help="Answer other devices on this network too, and show codes to scan.")
@click.option("--for", "seconds", metavar="SECONDS", type=click.FloatRange(min=0), help="Stop after so long.")
@click.option("--no-open", is_flag=True, help="Do not open a browser.")
@json_option()
def serve(folder: str, port: int, share: bool, seconds: float | None, no_open: bool, as_json: bool) -> None:
    """Open the desk in a browser: layouts, track and report of the project FOLDER, this one if not given.

    Only this machine is answered, and only those who bring the key in the address. With --share other devices on the
    network are answered as well: one code to scan pairs a device, the other lets it watch. Ctrl-C ends it.

    \b
    wayrule serve layouts
    wayrule serve layouts --share
    """
    from wayrule.cli.browser import someone_watches
    from wayrule.cli.machine import emit
    from wayrule.cli.show import say
    from wayrule.web.serving import Serving

    with Serving(folder, port=port, share=share) as desk:
        if as_json:
            emit({"address": desk.address, "pair": desk.pairing, "watch": desk.watching, "port": desk.port})
        else:
            say(f"The desk is at {desk.address}")
            for said, address in (("To pair a device, once", desk.pairing), ("To watch", desk.watching)):
                if address:
                    say(f"{said}, scan this, or open {address}\n{desk.code(address)}")
            say("Whoever has such an address may use it: keep it to yourself. Ctrl-C ends the desk.")
        if not as_json and not no_open and someone_watches():
            import webbrowser

            webbrowser.open(desk.address)
        desk.run(seconds)
