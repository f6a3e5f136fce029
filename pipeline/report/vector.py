"""matplotlib figures as vector graphics on a reportlab page.

matplotlib draws everything, text included, through a renderer's `draw_path`; this one turns each path into a path of
the PDF page, so that the sheet prints sharp at any size without a converter on the machine.
"""

from typing import Any

from matplotlib.backend_bases import FigureCanvasBase, RendererBase
from matplotlib.figure import Figure
from matplotlib.path import Path
from reportlab.platypus import Flowable


class PageRenderer(RendererBase):
    """Draws onto a reportlab canvas in points, the origin at the figure's lower left corner."""

    def __init__(self, canvas: Any, width: float, height: float) -> None:
        super().__init__()
        self.canvas, self.width, self.height = canvas, width, height

    def flipy(self) -> bool:
        """A PDF page counts upwards."""
        return False

    def get_canvas_width_height(self) -> tuple[float, float]:
        """Size in points."""
        return self.width, self.height

    def draw_path(self, gc: Any, path: Path, transform: Any, rgbFace: Any = None) -> None:
        """One path with its fill, stroke, dashes, clip and transparency."""
        self.canvas.saveState()
        clip = gc.get_clip_rectangle()
        if clip is not None:
            box = self.canvas.beginPath()
            box.rect(clip.x0, clip.y0, clip.width, clip.height)
            self.canvas.clipPath(box, stroke=0, fill=0)
        red, green, blue, *alpha = gc.get_rgb()
        stroke = gc.get_linewidth() > 0 and (not alpha or alpha[0] > 0)
        self.canvas.setStrokeColorRGB(
            red, green, blue, gc.get_alpha() if gc.get_forced_alpha() else (alpha or [1.0])[0]
        )
        self.canvas.setLineWidth(gc.get_linewidth())
        self.canvas.setLineJoin({"miter": 0, "round": 1, "bevel": 2}[gc.get_joinstyle()])
        self.canvas.setLineCap({"butt": 0, "round": 1, "projecting": 2}[gc.get_capstyle()])
        offset, dashes = gc.get_dashes()
        if dashes:
            self.canvas.setDash(list(dashes), offset)
        if rgbFace is not None:
            opacity = gc.get_alpha() if gc.get_forced_alpha() or len(rgbFace) < 4 else rgbFace[3]
            self.canvas.setFillColorRGB(*rgbFace[:3], alpha=opacity)
        self.canvas.drawPath(
            self._page_path(path, transform, rgbFace is None), stroke=int(stroke), fill=int(rgbFace is not None)
        )
        self.canvas.restoreState()

    def _page_path(self, path: Path, transform: Any, open_line: bool) -> Any:
        made = self.canvas.beginPath()
        x = y = 0.0
        for points, code in path.iter_segments(transform, remove_nans=True, simplify=open_line):
            if code == Path.MOVETO:
                made.moveTo(*points)
            elif code == Path.LINETO:
                made.lineTo(*points)
            elif code == Path.CURVE3:  # a quadratic curve raised to a cubic one
                cx, cy, ex, ey = points
                made.curveTo(
                    x + 2 / 3 * (cx - x), y + 2 / 3 * (cy - y), ex + 2 / 3 * (cx - ex), ey + 2 / 3 * (cy - ey), ex, ey
                )
            elif code == Path.CURVE4:
                made.curveTo(*points)
            elif code == Path.CLOSEPOLY:
                made.close()
            if code != Path.CLOSEPOLY:
                x, y = points[-2:]
        return made


class FigureOnPage(Flowable):  # type: ignore[misc]  # reportlab has no types
    """A matplotlib figure as a flowable of a given width in points."""

    def __init__(self, figure: Figure, width: float) -> None:
        super().__init__()
        inches = figure.get_size_inches()
        self.figure, self.scale = figure, width / (72.0 * float(inches[0]))
        self.width, self.height = width, 72.0 * float(inches[1]) * self.scale

    def draw(self) -> None:
        """Draw the figure at 72 dots per inch, scaled to the width asked for."""
        self.canv.saveState()
        self.canv.scale(self.scale, self.scale)
        self.figure.set_dpi(72)
        FigureCanvasBase(self.figure)
        self.figure.draw(PageRenderer(self.canv, self.width / self.scale, self.height / self.scale))
        self.canv.restoreState()
