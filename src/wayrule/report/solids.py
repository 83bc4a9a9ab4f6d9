"""Solids as bytes of the two files that printers' programs read: STL and 3MF, both in mm."""

import io
import zipfile
from typing import Final
from xml.sax.saxutils import quoteattr

import numpy as np

from wayrule.model import Solid

STL_TRIANGLE: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
"""50 bytes a triangle, little-endian: the binary STL layout."""

CORE: Final = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
PACKAGE: Final = "http://schemas.openxmlformats.org/package/2006"
MODEL_TYPE: Final = "application/vnd.ms-package.3dmanufacturing-3dmodel+xml"
RELATION: Final = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"


def stl_bytes(solid: Solid) -> bytes:
    """The solid as binary STL. The format has no unit; every printer's program takes mm.

    >>> tetrahedron = Solid("t", np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]]),
    ...                     np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    >>> len(stl_bytes(tetrahedron)) == 84 + 4 * 50
    True
    """
    corners = solid.vertices_mm[solid.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    rows = np.zeros(len(corners), STL_TRIANGLE)
    rows["normal"], rows["corners"] = normals / np.where(lengths > 0, lengths, 1.0), corners
    head = f"{solid.name}, mm".encode("ascii", "replace")[:80].ljust(80)
    return head + np.uint32(len(rows)).tobytes() + rows.tobytes()


def threemf_bytes(*solids: Solid) -> bytes:
    """The solids as one 3MF file (core specification), each an object of its own, set side by side on the bed.

    The same solids give the same bytes: no date, no random names.

    >>> tetrahedron = Solid("t", np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]]),
    ...                     np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    >>> zipfile.ZipFile(io.BytesIO(threemf_bytes(tetrahedron))).namelist()
    ['[Content_Types].xml', '_rels/.rels', '3D/3dmodel.model']
    """
    types = (
        f'<Types xmlns="{PACKAGE}/content-types"><Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Default Extension="model" ContentType="{MODEL_TYPE}"/></Types>'
    )
    relations = (
        f'<Relationships xmlns="{PACKAGE}/relationships">'
        f'<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="{RELATION}"/></Relationships>'
    )
    parts = {"[Content_Types].xml": types, "_rels/.rels": relations, "3D/3dmodel.model": _model(solids)}
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, '<?xml version="1.0" encoding="UTF-8"?>\n' + text)
    return buffer.getvalue()


def _model(solids: tuple[Solid, ...]) -> str:
    objects, items, at = [], [], 0.0
    for number, solid in enumerate(solids, 1):
        objects.append(_object(number, solid))
        left = float(solid.vertices_mm[:, 0].min())
        front = float(solid.vertices_mm[:, 1].min())
        items.append(f'<item objectid="{number}" transform="1 0 0 0 1 0 0 0 1 {at - left:.6g} {-front:.6g} 0"/>')
        at += solid.size_mm[0] + 5.0
    return (
        f'<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}"><resources>{"".join(objects)}</resources>'
        f"<build>{''.join(items)}</build></model>"
    )


def _object(number: int, solid: Solid) -> str:
    corners = "".join(f'<vertex x="{x:.6f}" y="{y:.6f}" z="{z:.6f}"/>' for x, y, z in solid.vertices_mm.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in solid.triangles.tolist())
    return (
        f'<object id="{number}" type="model" name={quoteattr(solid.name)}><mesh><vertices>{corners}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object>"
    )
