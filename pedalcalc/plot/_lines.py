"""Lines and bands from results or arrays."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from pedalcalc._arguments import list_of, numeric, one_number, one_of, table_of, words
from pedalcalc._base import io
from pedalcalc._result import Result
from pedalcalc._units import told
from pedalcalc.plot._style import COLOURS, Picture, dress, few_decades, legend_above, look, mark, new_picture, style_of

SCALES = ("auto", "linear", "log")
NATURALLY_LOG = {"Ω", "F", "Hz", "lx"}


@io
def curve(
    result: Result | Mapping[str, Result],
    *,
    across: str,
    up: str | Sequence[str],
    title: str = "",
    scale_across: str = "auto",
    scale_up: str = "auto",
    marks: Mapping[str, tuple[float, float]] | None = None,
) -> Picture:
    """Draw fields of a result against another field, or one field of several results.

    Parameters
    ----------
    result : Result, or mapping of str to Result
        A result whose fields hold arrays; names, captions and units come from its fields. Several go by the words that
        stand beside their lines.
    across : str
        Field on the horizontal axis; a field of a result inside is written ``"point.current"``.
    up : str or sequence of str
        Field or fields on the vertical axis, all of one unit; one field for several results.
    title : str, optional
        Line above the picture.
    scale_across : str, default "auto"
        "linear", "log" or "auto": log for ohms, farads, hertz and lux that span more than a decade.
    scale_up : str, default "auto"
        The same for the vertical axis.
    marks : mapping of str to (float, float), optional
        Points to mark with a dot, by the words that name them above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If a field is not there, holds no array, or the units differ, or there is no result.
    TypeError
        If several results and several fields are given, or what is given is no result.

    References
    ----------
    PRACTICE : every axis labelled with its unit.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> from pedalcalc._result import Result, quantity
    >>> @dataclass(frozen=True)
    ... class Sweep(Result):
    ...     voltage: object = quantity("V", "voltage")
    ...     current: object = quantity("A", "current")
    >>> picture = plot.curve(Sweep(np.array([0.0, 1.0]), np.array([0.0, 0.1])), across="voltage", up="current")
    >>> picture.axes[0].get_xlabel()
    'Voltage'
    >>> two = {name: Sweep(np.arange(3.0), np.arange(3.0) * k) for k, name in ((0.1, "cold"), (0.2, "warm"))}
    >>> len(plot.curve(two, across="voltage", up="current").axes[0].lines)
    2
    """
    if isinstance(result, Mapping):
        results = table_of("result", result, "results by words")
        return _several(results, across, up, title, scale_across, scale_up, marks)
    names = [up] if isinstance(up, str) else list_of("up", up, "names of fields", str)
    if not names:
        raise ValueError("up must name at least one field, got none")
    x, caption_x, unit_x = _field(result, "across", across)
    found = [_field(result, "up", name) for name in names]
    units = {unit for _, _, unit in found}
    if len(units) > 1:
        raise ValueError(f"up must name fields that share one unit, got {', '.join(sorted(units))}")
    series = {caption: values for values, caption, _ in found}
    caption = found[0][1] if len(found) == 1 else _shared(list(series))
    return lines(
        series, across=x, caption_across=caption_x, unit_across=unit_x, caption=caption, unit=found[0][2],
        title=title, scale_across=scale_across, scale_up=scale_up, marks=marks,
    )  # fmt: skip


def _several(
    results: Mapping[str, Result],
    across: str,
    up: str | Sequence[str],
    title: str,
    scale_across: str,
    scale_up: str,
    marks: Mapping[str, tuple[float, float]] | None,
) -> Picture:
    """Draw one field of several results, one line each."""
    if not results:
        raise ValueError("result must hold at least one result, got none")
    if not isinstance(up, str):
        raise TypeError(f"up must be one field where several results are drawn, got {', '.join(up)}")
    picture = new_picture()
    with look():
        axes = picture.subplots()
        for k, (name, result) in enumerate(results.items()):
            (x, caption_x, unit_x), (y, caption, unit) = _field(result, "across", across), _field(result, "up", up)
            axes.plot(x, y, label=name if len(results) > 1 else None, **style_of(k))
        spans = [np.concatenate([np.asarray(line.get_data()[i], float) for line in axes.lines]) for i in (0, 1)]
        logs = (_is_log("scale_across", scale_across, unit_x, spans[0]), _is_log("scale_up", scale_up, unit, spans[1]))
        dress(axes, across=(caption_x, unit_x), up=(caption, unit), logs=logs)
        _finish(axes, title, marks)
    picture.caption = title or f"{caption} against {caption_x}"
    return picture


@io
def lines(
    tracks: Mapping[str, ArrayLike],
    *,
    across: ArrayLike,
    caption_across: str,
    unit_across: str,
    caption: str,
    unit: str,
    title: str = "",
    scale_across: str = "auto",
    scale_up: str = "auto",
    marks: Mapping[str, tuple[float, float]] | None = None,
) -> Picture:
    """Draw arrays against one array, one line each.

    Parameters
    ----------
    tracks : mapping of str to array_like
        The values by the words that stand beside their lines.
    across : array_like
        Values on the horizontal axis.
    caption_across : str
        Words of the horizontal axis.
    unit_across : str
        Unit of the horizontal axis.
    caption : str
        Words of the vertical axis.
    unit : str
        Unit of the vertical axis.
    title : str, optional
        Line above the picture.
    scale_across : str, default "auto"
        "linear", "log" or "auto", as for `curve`.
    scale_up : str, default "auto"
        The same for the vertical axis.
    marks : mapping of str to (float, float), optional
        Points to mark with a dot, by the words that name them above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If there is no line, or a line has not the length of `across`.

    References
    ----------
    PRACTICE : every axis labelled with its unit.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> picture = plot.lines({"1 µF": np.exp(-np.arange(5.0))}, across=np.arange(5.0), caption_across="time",
    ...                      unit_across="s", caption="voltage", unit="V")
    >>> picture.axes[0].get_ylabel()
    'Voltage'
    """
    tracks = table_of("tracks", tracks, "rows of numbers by words")
    (
        words("caption_across", caption_across),
        words("unit_across", unit_across),
        words("caption", caption),
        words("unit", unit),
    )
    if not tracks:
        raise ValueError("tracks must hold at least one line, got none")
    x = numeric("across", across, infinity=True)
    picture = new_picture()
    with look():
        axes = picture.subplots()
        for k, (name, values) in enumerate(tracks.items()):
            y = numeric("tracks", values, infinity=True)
            if y.shape != x.shape or x.ndim != 1:
                raise ValueError(
                    f"tracks: {name!r} has shape {y.shape}, across has {x.shape}; both must be one row of one length"
                )
            axes.plot(x, y, label=name if len(tracks) > 1 else None, **style_of(k))
        every = np.concatenate([np.asarray(values, float) for values in tracks.values()])
        logs = (_is_log("scale_across", scale_across, unit_across, x), _is_log("scale_up", scale_up, unit, every))
        dress(axes, across=(caption_across, unit_across), up=(caption, unit), logs=logs)
        _finish(axes, title, marks)
    picture.caption = title or f"{caption} against {caption_across}"
    return picture


@io
def bands(
    tracks: Mapping[str, tuple[ArrayLike, ArrayLike, ArrayLike]],
    *,
    across: ArrayLike,
    caption_across: str,
    unit_across: str,
    caption: str,
    unit: str,
    title: str = "",
    scale_across: str = "auto",
    scale_up: str = "auto",
    marks: Mapping[str, tuple[float, float]] | None = None,
) -> Picture:
    """Draw lowest, typical and highest values as a line inside a shaded band.

    Parameters
    ----------
    tracks : mapping of str to (low, typical, high)
        Three arrays each, by the words that stand beside the band.
    across : array_like
        Values on the horizontal axis.
    caption_across : str
        Words of the horizontal axis.
    unit_across : str
        Unit of the horizontal axis.
    caption : str
        Words of the vertical axis.
    unit : str
        Unit of the vertical axis.
    title : str, optional
        Line above the picture.
    scale_across : str, default "auto"
        "linear", "log" or "auto", as for `curve`.
    scale_up : str, default "auto"
        The same for the vertical axis.
    marks : mapping of str to (float, float), optional
        Points to mark with a dot, by the words that name them above the picture.

    Returns
    -------
    Picture
        A matplotlib figure that shows itself in a notebook.

    Raises
    ------
    ValueError
        If there is no band, or a line has not the length of `across`.

    References
    ----------
    PRACTICE : a spread is drawn as a band, not as a line.

    Examples
    --------
    >>> import numpy as np
    >>> from pedalcalc import plot
    >>> t = np.linspace(0.0, 1.0, 5)
    >>> picture = plot.bands({"decay": (0.5 * t, t, 2 * t)}, across=t, caption_across="time", unit_across="s",
    ...                      caption="current", unit="A")
    >>> len(picture.axes[0].collections)
    1
    """
    tracks = table_of("tracks", tracks, "lowest, typical and highest values by words")
    for name, three in tracks.items():
        if not hasattr(three, "__len__") or len(three) != 3:
            raise ValueError(f"tracks: {name!r} must be lowest, typical and highest values, got {told(three)}")
    picture = lines(
        {name: typical for name, (_, typical, _) in tracks.items()}, across=across, caption_across=caption_across,
        unit_across=unit_across, caption=caption, unit=unit, title=title, scale_across=scale_across, scale_up=scale_up, marks=marks,
    )  # fmt: skip
    axes = picture.axes[0]
    with look():
        for k, (low, _, high) in enumerate(tracks.values()):
            colour = COLOURS[k % len(COLOURS)]
            ends = numeric("tracks", low, infinity=True), numeric("tracks", high, infinity=True)
            axes.fill_between(np.asarray(across, float), *ends, color=colour, alpha=0.18, linewidth=0)
            for end in ends:
                axes.plot(np.asarray(across, float), end, color=colour, linewidth=0.6)
    return picture


def _field(result: Any, argument: str, name: str) -> tuple[np.ndarray[Any, Any], str, str]:
    """Return the array, caption and unit of a field, through dots into results inside."""
    first, _, rest = words(argument, name).partition(".")
    if not isinstance(result, Result) or not dataclasses.is_dataclass(result):
        raise TypeError(f"result must be a result, not {type(result).__name__}: {told(result)}")
    known = {field.name: field for field in dataclasses.fields(result)}
    if first not in known:
        raise ValueError(
            f"{argument}: {name!r} is not a field of {type(result).__name__}; there are {', '.join(known)}"
        )
    value = getattr(result, first)
    if rest:
        return _field(value, argument, rest)
    array = np.asarray(value)
    if array.ndim != 1 or array.dtype.kind not in "iuf":
        raise ValueError(f"{argument}: {name} must hold one row of numbers to be drawn, got shape {array.shape}")
    metadata = known[first].metadata
    return array.astype(float), str(metadata.get("caption", first)), str(metadata.get("unit", ""))


def _shared(captions: list[str]) -> str:
    """Return the words that all captions share, or the first caption."""
    words = [word for word in captions[0].split() if all(word in other.split() for other in captions)]
    return " ".join(words) or captions[0]


def _is_log(name: str, scale: str, unit: str, values: Any) -> bool:
    one_of(name, scale, SCALES)
    finite = np.asarray(values, float)
    finite = finite[np.isfinite(finite)]
    if scale == "log" and np.any(finite <= 0):
        raise ValueError(f"{name} cannot be log, the values reach down to {finite.min():g}")
    if scale != "auto":
        return scale == "log"
    return bool(unit in NATURALLY_LOG and finite.size and finite.min() > 0 and finite.max() > 10 * finite.min())


def _finish(axes: Any, title: str, marks: Mapping[str, tuple[float, float]] | None) -> None:
    for k, (name, point) in enumerate(table_of("marks", marks, "points by words").items()):
        if not isinstance(point, (list, tuple)) or len(point) != 2:
            raise ValueError(f"marks: {name!r} must be two numbers, across and up, got {told(point)}")
        mark(axes, one_number("marks", point[0], ""), one_number("marks", point[1], ""), name, index=k)
    for axis in (axes.xaxis, axes.yaxis):
        if axis.get_scale() == "log":
            few_decades(axis)
    legend_above(axes.figure, words("title", title))
