"""What a program may ask, and the shape of what it gets. Quantities are written as people write them: "7.2 m"."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StrictBool, StrictFloat, StrictInt

FarEnd = Literal["through", "open", "short", "load"]
Texts = dict[str, str]
Pair = Annotated[list[str], Field(min_length=2, max_length=2)]
Number = Annotated[float, Field(allow_inf_nan=False)]
PRICES = {"name": "prices.csv", "text": "line,price,currency\nRG-213/U,1.85/m,EUR\n"}


class Asked(BaseModel):
    """A question. What it does not know it refuses, so that a misspelt name is not passed over."""

    model_config = ConfigDict(extra="forbid")


class NamedText(Asked):
    """A file, by its name and its text."""

    name: str = Field(examples=["drum.s2p"], min_length=1, max_length=300)
    text: str


class LossQuestion(Asked):
    """A length of line, and where its loss is wanted."""

    line: str = Field(examples=["RG-213/U"])
    length: str = Field(examples=["30 m"])
    frequency: list[str] = Field(examples=[["14.2 MHz", "144 MHz"]], min_length=1, max_length=1000)


class MeaningQuestion(Asked):
    """A change in decibels (one without a sign is a loss), a way from one figure to another, a signal, or an EIRP."""

    change: str = Field(examples=["3 dB", "100 W to 25 W", "S9 to S7", "10 µV", "100 W EIRP"])
    power: str = "100 W"
    at: str | None = None
    signal: str | None = Field(None, examples=["S7"])
    distance: str | None = Field(None, examples=["10 m"])
    gain: str = Field("0 dBi", description="Of the antenna that receives an EIRP.")


class PractiseQuestion(Asked):
    """An invented bench to practise on: which, the readings to take, and what is said of it to be marked."""

    level: int | None = Field(None, strict=True, ge=1, le=5, description="1 unless told.")
    seed: int | None = Field(None, strict=True, ge=0, lt=2**20, description="0 unless told.")
    code: str | None = Field(None, examples=["200 0DQ"], description="Instead of level and seed.", max_length=20)
    read: list[str] = Field(default=[], examples=[["pocket meter, 144.3 MHz, pad"]], max_length=40)
    guess: str | None = Field(None, examples=["likely bent pocket meter"], max_length=200)
    truth: StrictBool = False


class ThroughQuestion(Asked):
    """What was seen at the radio, and what is known of the line."""

    shack_swr: str | None = Field(None, examples=["1.3"])
    return_loss: str | None = None
    impedance: str | None = None
    loss: str | None = Field(None, examples=["3 dB +- 0.5"])
    line: str | None = None
    length: str | None = None
    piece: str | None = Field(None, description="A piece of the ledger.", examples=["blue 7"])
    run: str | None = Field(None, description="A run of a station that the ledger keeps.")
    station: str | None = None
    at: str | None = None
    step: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    directivity: str | None = None


class ThroughCurveQuestion(ThroughQuestion):
    """The same, with a whole curve: CSV (frequency_mhz,swr) or Touchstone."""

    curve: NamedText | None = None
    lines: NamedText | None = None


class AntennaQuestion(Asked):
    """Sweeps of one antenna, and the line before it where one is known: a loss, a type and length, a piece or a run."""

    sweeps: list[NamedText] = Field(min_length=1, max_length=6)
    names: list[str] = Field([], max_length=6, examples=[["dry", "wet"]])
    loss: str | None = None
    line: str | None = None
    length: str | None = None
    piece: str | None = None
    run: str | None = None
    station: str | None = None
    at: str | None = None
    directivity: str | None = None
    lines: NamedText | None = None


class OneEndRow(Asked):
    """One reading at the near end: one of swr, return_loss and resistance."""

    frequency: str = Field(examples=["144 MHz"])
    far_end: str = Field(examples=["open"])
    swr: str | float | None = None
    return_loss: str | None = None
    resistance: str | None = None
    direct: str | float | None = None
    step: str | float | None = None
    note: str | None = None


class OneEndQuestion(Asked):
    """Readings with one end in hand, and what is known of line and instrument."""

    readings: list[OneEndRow] = Field(min_length=1, max_length=500)
    directivity: str | None = None
    source_swr: str | float | None = None
    impedance: str | None = None
    line: str | None = None
    length: str | None = None
    piece: str | None = Field(None, description="A piece of the ledger: brings its type, length and connectors.")
    lines: NamedText | None = None


class SweepFile(NamedText):
    """A Touchstone file and what was at its far end."""

    far_end: FarEnd | None = None


class AskedSweep(Asked):
    """One line's sweeps, and what is known beside them."""

    files: list[SweepFile] = Field(min_length=1, max_length=4)
    length: str | None = None
    velocity_factor: str | float | None = None
    line: str | None = None
    at: list[str] = Field([], max_length=200)
    option_line: str | None = None
    lines: NamedText | None = None


class CutLine(Asked):
    """One line by its sweeps: a two-port through it, or one-ports with its far end open, shorted, or both."""

    name: str = Field(examples=["red 1"], min_length=1, max_length=300)
    files: list[SweepFile] = Field(min_length=1, max_length=2)
    length: str | None = Field(None, examples=["7.2 m"])
    connectors: int = Field(2, strict=True, ge=0, le=50)


class AskedCut(Asked):
    """Lines, of the ledger or by their sweeps, and what is wanted of them: compared, in sets, or the first one cut."""

    pieces: list[str] = Field([], max_length=40, examples=[["blue 7", "blue 8"]])
    sweeps: list[CutLine] = Field([], max_length=40)
    at: list[str] = Field([], max_length=50, examples=[["145 MHz"]])
    band: str | None = Field(None, examples=["2 m"])
    sets_of: int | None = Field(None, strict=True, ge=2, le=40)
    to: str | None = Field(None, examples=["quarter wave"])
    beyond: str | None = None
    stub: Literal["open", "short"] | None = None
    load: str | None = Field(None, examples=["50 ohm"])
    side_by_side: int = Field(1, strict=True, ge=1, le=16)
    line: str | None = None
    lines: NamedText | None = None


class PlanQuestion(Asked):
    """A station's file, with the files it names; or the name of the invented one that comes along."""

    station: str = Field(description="The text of a station file, or harbour-ridge.", examples=["harbour-ridge"])
    files: Texts = Field({}, description="The files the station names, by name.")
    run: str | None = None
    lines: NamedText | None = None


class Written(Asked):
    """In which manner something is written."""

    language: Literal["en", "de"] = "en"
    decimal: Literal["point", "comma"] | None = None
    lengths: Literal["m", "ft"] = "m"


class SheetQuestion(Asked):
    """A bench sheet, with the files it names; or the name of the invented one that comes along."""

    sheet: str = Field(description="The text of a bench sheet, or harbour-ridge.", examples=["harbour-ridge"])
    files: Texts = Field({}, description="The files the sheet names, by name.")
    lines: NamedText | None = None


class BlankQuestion(SheetQuestion, Written):
    """A bench to be read, and how often. Accept says whether as JSON, CSV or PDF."""

    repeats: int = Field(1, strict=True, ge=1, le=6)
    every_meter: StrictBool = False
    paper: Literal["a4", "letter"] = "a4"
    date: str | None = None


class ExposureQuestion(Asked):
    """A station, or one antenna by power, frequencies, and gain or kind and lengths."""

    station: str | None = Field(None, examples=["harbour-ridge"])
    files: Texts = {}
    run: str | None = None
    power: str | None = None
    gain: str | None = None
    at: list[str] = Field([], max_length=200)
    duty: str = "100 %"
    mode: str = "carrier"
    ground: str = "EPA"
    size: str | None = None
    antenna: str | None = Field(None, examples=["dipole, length 20 m, height 10 m"])
    over: str | None = None
    pause: str | None = None
    distance: str | None = Field(None, examples=["10 m"])
    window: str | None = None
    limits: list[str] = Field([], examples=[["ICNIRP 2020"]], max_length=20)
    rules: NamedText | None = None
    lines: NamedText | None = None


class WhatIfQuestion(PlanQuestion):
    """The same, with changes, made together."""

    changes: list[str] = Field(examples=[["line 2 = RG-213/U"]], min_length=1, max_length=100)


class Amplifier(Asked):
    """A preamplifier on sale."""

    gain: str = Field(examples=["20 dB"])
    noise_figure: str = Field(examples=["0.8 dB"])


class ChooseQuestion(PlanQuestion):
    """A run that wants a line, a person's own prices, and what is asked of it beside what its station states."""

    run: str = Field(examples=["two-metre beam"])
    prices: NamedText = Field(examples=[PRICES])
    replace: list[str] | None = Field(None, max_length=50)
    tail: str | None = Field(None, examples=["3 m"])
    limit: str | list[Pair] | None = Field(None, examples=["1 dB"])
    sure: Number | str | None = None
    max_diameter: str | None = None
    max_mass: str | None = Field(None, examples=["160 g/m"])
    bend_radius: str | None = None
    voltage_margin: Number | None = None
    heat_margin: Number | None = None
    budget: Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)] | None = None
    impedance: str | None = Field(None, examples=["any"])
    outdoors: StrictBool | None = None
    connector: str | None = None
    shorter: str | None = None
    moved: str | None = None
    preamplifier: Amplifier | None = None


class ShareQuestion(Asked):
    """A station whose runs state a route, and what may be bought."""

    station: str = Field(description="The text of a station file.")
    files: Texts = Field({}, description="The files the station names, by name.")
    prices: NamedText | None = None
    budget: Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)] = 0.0
    lines: NamedText | None = None


class ChartQuestion(Written):
    """What to draw: one of a sheet, a station, sweeps of a line, or a name of the ledger. Accept says in which form."""

    sheet: str | None = Field(None, description="The text of a bench sheet, or harbour-ridge.")
    station: str | None = Field(None, description="The text of a station file, or harbour-ridge.")
    sweeps: list[SweepFile] = Field([], max_length=4)
    kept: str | None = Field(None, description="A piece, a session or a station of the ledger.")
    files: Texts = Field({}, description="The files that the sheet or the station names, by name.")
    kind: str | None = Field(None, description="Which chart; the main one if not told.", examples=["loss"])
    width: int = Field(660, strict=True, ge=320, le=2000)
    dark: StrictBool = False
    run: str | None = None
    prices: NamedText | None = None
    length: str | None = None
    line: str | None = None
    lines: NamedText | None = None


class ReportQuestion(Written):
    """What to report: one of a sheet, a station, or a name of the ledger. Accept says whether as PDF or HTML."""

    sheet: NamedText | None = Field(None, description="A bench sheet; harbour-ridge as its text is the invented one.")
    station: NamedText | None = Field(None, description="A station; harbour-ridge as its text is the invented one.")
    kept: str | None = Field(None, description="A piece, a session or a station of the ledger.")
    files: Texts = {}
    paper: Literal["a4", "letter"] = "a4"
    appendix: StrictBool = Field(False, description="Whether every reading and the workings follow the letter.")
    date: str | None = Field(None, description="The date it bears; today if not told.", examples=["2026-04-02"])
    lines: NamedText | None = None


class LabelQuestion(Written):
    """Which pieces of the ledger want labels; all if none is named. Accept says whether as JSON, PDF, SVG or PNG."""

    tag: list[str] = Field([], max_length=200, examples=[["blue 7"]])
    sheet: str | None = None
    first: int = Field(1, ge=1, le=1000)
    size: str | None = Field(None, examples=["70x37mm"])
    wrap: bool = False
    qr: bool = False
    address: str | None = None
    bands: str | None = None
    date: str | None = None


class KeptSweepsQuestion(Asked):
    """Which sweeps of the ledger: of a piece, swept between two days, of a file with this hash."""

    piece: str | None = Field(None, max_length=300, examples=["blue 7"])
    since: str | None = Field(None, examples=["2026-01-01"])
    until: str | None = None
    sha256: str | None = Field(None, max_length=80)
    archived: bool = False


# What a program may write, with a token

Short = Annotated[str, Field(min_length=1, max_length=300)]
Tag = Annotated[str, Field(min_length=1, max_length=200)]
Cell = Annotated[str, Field(max_length=300)] | Annotated[StrictInt | StrictFloat, Field(allow_inf_nan=False)]
"""The value in a field of a reading: as typed, or a bare number."""
Version = Annotated[int, Field(ge=0, lt=2**31, description="The version it should stand at; another one is a 409.")]
ARCHIVED = Field(None, description="true puts it away: out of every list, nothing wiped out; false brings it back.")


class ReferenceGiven(Asked):
    """What is in place for the reference reading."""

    line: Short | None = Field(None, examples=["RG-58C/U"])
    length: Short | None = Field(None, examples=["0.9 m"])
    in_place: Literal["replaced", "stays"] | None = None


class AttenuatorGiven(Asked):
    """An attenuator taken to the bench."""

    tag: Tag
    loss: Short = Field(examples=["3.0 dB"])


class NewSession(Asked):
    """A bench session on meters and pieces of the shelf."""

    title: Short = Field(examples=["Spring check"])
    meters: list[Tag] = Field(min_length=1, max_length=50, examples=[["desk meter"]])
    pieces: list[Tag] = Field(min_length=1, max_length=200, examples=[["blue 7", "blue 18"]])
    power: Short = Field(examples=["10 W"])
    swr: Cell | None = None
    reference: ReferenceGiven | None = None
    attenuators: list[AttenuatorGiven] = Field([], max_length=20)
    frequencies: list[Short] = Field(min_length=1, max_length=100, examples=[["14.2 MHz", "144.3 MHz"]])
    joined: list[Short] = Field([], max_length=50, examples=[["blue 7+blue 18"]])
    date: Short | None = Field(None, description="The day it was measured; today if not told.", examples=["2026-04-02"])


class SessionChange(Asked):
    """Changes to a session; omitted fields stay as they are."""

    title: Short | None = None
    power: Short | None = None
    swr: Cell | None = None
    reference: ReferenceGiven | None = None
    frequencies: list[Short] | None = Field(None, min_length=1, max_length=100)
    joined: list[Short] | None = Field(None, max_length=50)
    date: Short | None = Field(None, examples=["2026-04-02"])
    archived: StrictBool | None = ARCHIVED
    expect: Version | None = None


class ReadingCells(Asked):
    """The fields of a reading that may be left out, as the readings file of a bench sheet has them."""

    swr: Cell | None = None
    low: Cell | None = None
    high: Cell | None = None
    step: Cell | None = None
    note: Cell | None = None


class NewReading(ReadingCells):
    """A reading: the meter, where, through what, and what it shows in its own scale."""

    meter: Tag = Field(examples=["desk meter"])
    frequency: Short = Field(examples=["14.2 MHz"])
    path: Short = Field(description="reference, a tag, or tags joined by +.", examples=["reference", "blue 7"])
    reading: Cell = Field(examples=["8.2", 8.2])


class ReadingChange(ReadingCells):
    """A correction: omitted fields stay as they are, a field set to null is removed."""

    meter: Tag | None = None
    frequency: Short | None = None
    path: Short | None = None
    reading: Cell | None = None
    expect: Version | None = None


class PieceFields(Asked):
    """The fields of a piece; a field set to null is removed."""

    line: Short | None = Field(None, examples=["RG-58C/U"])
    length: Short | None = Field(None, examples=["7.2 m"])
    connectors: Annotated[int, Field(ge=0, le=50)] | None = None
    stock: Tag | None = None
    exposure: Short | None = Field(None, examples=["outdoors"])
    since: Short | None = Field(None, examples=["2024-05-01"])
    note: Short | None = None


class NewPiece(PieceFields):
    """A piece for the shelf."""

    tag: Tag = Field(examples=["blue 7"])
    length: Short = Field(examples=["7.2 m"])


class PieceEdit(PieceFields):
    """Changes to a piece; omitted fields stay as they are."""

    archived: StrictBool | None = ARCHIVED
    expect: Version | None = None


class MeterFields(Asked):
    """The fields of a meter; a field set to null is removed."""

    rated: Short | None = Field(None, examples=["1.8 MHz to 60 MHz"])
    scale: Short | None = Field(None, examples=["watts"])
    division: Cell | None = Field(None, examples=["0.2 W"])
    card: list[list[Cell]] | None = Field(None, max_length=200, examples=[[[0, "0 W"], [100, "12.5 W"]]])
    swr: Cell | None = None


class NewMeter(MeterFields):
    """A meter for the shelf."""

    name: Tag = Field(examples=["desk meter"])


class MeterChange(MeterFields):
    """Changes to a meter; omitted fields stay as they are."""

    archived: StrictBool | None = ARCHIVED
    expect: Version | None = None


class RunFields(Asked):
    """Fields of a run as its station's file has them; a field of null is taken away."""

    fields: dict[Tag, Any] = Field(
        max_length=60,
        examples=[{"power": "50 W", "bands": ["2 m"], "chain": [{"piece": "blue 7"}], "antenna": {"swr": 1.5}}],
    )


class NewRun(RunFields):
    """A run for a station that is kept; a station of that name is begun where none is."""

    name: Tag = Field(examples=["two-metre beam"])
    station: Tag | None = Field(None, description="Which station, where several are kept.")


class RunChange(RunFields):
    """Changes to a run; omitted fields stay as they are."""

    expect: Version | None = None


class RunPlan(Asked):
    """A plan beside a run, by both their names."""

    run: Tag = Field(examples=["two-metre beam"])
    plan: Tag = Field(examples=["thicker"])
    station: Tag | None = Field(None, description="Which station, where several are kept.")
    expect: Version | None = None


class NewPlan(RunPlan):
    """A run, with what becomes of some of its fields, to be kept as a plan beside it."""

    fields: dict[Tag, Any] = Field({}, max_length=60, examples=[{"power": "25 W"}])


class UndoQuestion(Asked):
    """A change to be set back, by its number in the history."""

    change: Annotated[int, Field(ge=1, lt=2**31)]


class Answer(BaseModel):
    """A document. Its schema says which; ``linewright COMMAND --json`` writes the same."""

    model_config = ConfigDict(extra="allow", json_schema_extra={"required": ["schema"]})
    schema_: str = Field(alias="schema", pattern="^linewright/[a-z-]+/1$")


class ApiDocument(BaseModel):
    """A document that only this interface writes."""

    model_config = ConfigDict(extra="forbid")


class ReadingAsKept(ApiDocument):
    """A reading as it stands: the fields as typed, none once it is withdrawn; ``version`` counts its corrections."""

    number: int
    version: int
    at: str
    cells: dict[str, str] | None


class Readings(ApiDocument):
    """The readings of a bench session; after a write the one that was written, and the number of its change."""

    schema_: Literal["linewright/readings/1"] = Field(alias="schema")
    session: str
    readings: list[ReadingAsKept]
    change: int | None = Field(description="The change that was made, to be undone by; null where none was.")
    cautions: list[str] = []


class ListedSession(ApiDocument):
    """A bench session in a list."""

    key: str
    title: str
    measured_on: str
    version: int
    archived: bool
    meters: list[str]
    pieces: list[str]
    frequencies: list[str]
    readings: int


class SessionList(ApiDocument):
    """The bench sessions, the newest first."""

    schema_: Literal["linewright/sessions/1"] = Field(alias="schema")
    sessions: list[ListedSession]


class ReadingField(ApiDocument):
    """A field of the reading sheet: where it is, the meter's scale, and the key that puts a reading there once."""

    meter: str
    frequency: str
    path: str
    label: str
    scale: str
    key: str


class NextField(ApiDocument):
    """The next empty field in the order of a session, null once all are filled; how many of its fields are read."""

    schema_: Literal["linewright/next-field/1"] = Field(alias="schema")
    session: str
    field: ReadingField | None
    read: int
    fields: int
    cautions: list[str]


class Pending(ApiDocument):
    """Something that is being worked out: ask again; ``share`` of it is done, 0 to 1."""

    schema_: Literal["linewright/pending/1"] = Field(alias="schema")
    share: float


WRITTEN: dict[type[ApiDocument], str] = {
    Readings: "GET /api/bench/readings", SessionList: "GET /api/bench/sessions", NextField: "GET /api/bench/next",
    Pending: "GET /api/bench/result",
}  # fmt: skip
"""The documents that no command but ``listen`` writes, and where each comes from."""


class Trouble(BaseModel):
    """What is wrong."""

    model_config = ConfigDict(extra="allow")
    schema_: Literal["linewright/error/1"] = Field(alias="schema")
    message: str
    argument: str | None = None
    rule: str | None = None
    file: str | None = None
    row: int | None = None
    key: str | None = None
    cure: str | None = None
    others: list[dict[str, Any]] = []
