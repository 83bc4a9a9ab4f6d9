"""A page as a notebook shows it."""

from html import escape


def framed(page: str, height_px: int) -> str:
    """A whole HTML page in a frame of its own, so that its styles and the notebook's leave each other alone.

    >>> framed('<p class="x">a & b</p>', 200)[:58]
    '<iframe srcdoc="&lt;p class=&quot;x&quot;&gt;a &amp; b&lt;'
    """
    style = f"width:100%;height:{height_px}px;border:0"
    return f'<iframe srcdoc="{escape(page)}" style="{style}" sandbox></iframe>'
