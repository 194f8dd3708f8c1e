"""The massing model as files for printing: binary STL, and 3MF after the open core specification (3MF Consortium).

Written here, in a few lines each, because they must say what a hull cannot know and be the same to the last bit
whenever they are made: no date, no random name, no maker.
"""

from __future__ import annotations

import io
import zipfile
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from silhouette.records_space import Solid

HEADER = 80
"""Bytes of an STL file's comment."""
_DAWN = (1980, 1, 1, 0, 0, 0)
"""The date that every file in the 3MF bears."""
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_LINKS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="rel0" Target="/3D/3dmodel.model" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)


def stl_bytes(solid: Solid, comment: str) -> bytes:
    """A binary STL, millimetres; its comment is cut at 80 letters, all of them ASCII.

    Raises
    ------
    ValueError
        Where the comment begins with "solid", which readers take for the other kind of STL.
    """
    if comment.lstrip().lower().startswith("solid"):
        raise ValueError('an STL\'s comment may not begin with "solid"')
    head = comment.encode("ascii", "replace")[:HEADER].ljust(HEADER, b" ")
    corners = solid.vertices.astype("<f4")[solid.faces]
    across = np.cross((corners[:, 1] - corners[:, 0]).astype(float), (corners[:, 2] - corners[:, 0]).astype(float))
    long = np.linalg.norm(across, axis=1, keepdims=True)
    rows = np.zeros(len(corners), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])
    rows["normal"] = across / np.where(long > 0, long, 1.0)
    rows["corners"] = corners
    return head + np.uint32(len(rows)).astype("<u4").tobytes() + rows.tobytes()


def threemf_bytes(solid: Solid, comment: str, title: str = "Massing model") -> bytes:
    """A 3MF, millimetres to four places; ``comment`` becomes its description."""
    vertices = "".join(f'<vertex x="{x:.4f}" y="{y:.4f}" z="{z:.4f}"/>' for x, y, z in solid.vertices.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in solid.faces.tolist())
    model = (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns={quoteattr(_CORE)}>'
        f'<metadata name="Title">{escape(title)}</metadata><metadata name="Description">{escape(comment)}</metadata>'
        f'<resources><object id="1" type="model"><mesh><vertices>{vertices}</vertices>'
        f'<triangles>{faces}</triangles></mesh></object></resources><build><item objectid="1"/></build></model>'
    )
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as out:
        for name, text in (("[Content_Types].xml", _TYPES), ("_rels/.rels", _LINKS), ("3D/3dmodel.model", model)):
            entry = zipfile.ZipInfo(name, _DAWN)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o600 << 16
            out.writestr(entry, text.encode(), compresslevel=6)
    return whole.getvalue()
