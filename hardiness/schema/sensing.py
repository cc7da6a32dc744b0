"""What comes out when sensors are held against each other: transfers, disagreements, and who speaks for which plant."""

from __future__ import annotations

from hardiness.schema.columns import Column

TRANSFERS = (
    Column("sensor", "the logger that is estimated where it is silent"),
    Column("source", "the station or logger that it is estimated from"),
    Column("nights", "nights that both saw", "integer"),
    Column("cold_nights", "of these, nights in which either fell to 2 °C or lower", "integer"),
    Column("offset_c", "added to the source's minimum in a cold night of the usual range", "number", "K"),
    Column("offset_sd_c", "standard deviation of that offset", "number", "K"),
    Column("sd_c", "standard deviation of one estimated minimum", "number", "K"),
    Column("lapse_c", "what height alone would add", "number", "K"),
    Column("distance_km", "from one to the other; empty where a place is not known", "number", "km"),
    Column("basis", "what the estimate rests on", "choice", choices=("overlap", "too few nights", "height alone")),
    Column(
        "nights_by",
        "what tells clear, calm nights from others",
        "choice",
        choices=("wind and sky", "wind", "sky", "range of the day", "nothing"),
    ),
    Column("told_nights", "cold nights of which the source's wind or sky is known", "integer"),
    Column("calm_c", "added more in a calm, clear night than in another of the same range", "number", "K"),
    Column("freezes", "freezes of the logger that were estimated from this source", "integer"),
)
APART = (
    Column("event", "the cold spell"),
    Column("sensor_a", "one sensor"),
    Column("minimum_a_c", "its coldest reading in the event", "number", "degC"),
    Column("sensor_b", "the other"),
    Column("minimum_b_c", "its coldest reading", "number", "degC"),
    Column("difference_c", "a - b", "number", "K"),
    Column("sd_c", "what the two standard deviations explain", "number", "K"),
    Column("usual_c", "median of a - b over the other events that both saw; empty under 3 of them", "number", "K"),
    Column("distance_km", "from one to the other", "number", "km"),
    Column("height_m", "how much higher a hangs than b", "number", "m"),
)
AIR = (
    Column("event", "the cold spell"),
    Column("kind", "what kind of freeze it was", "choice", choices=("radiative", "advective", "mixed", "unknown")),
    Column("wind_m_s", "mean wind by night, from the event's first freeze to its last", "number", "m/s"),
    Column("cloud", "mean share of the sky under cloud by night", "number", "1"),
    Column("air_onset_c", "air when the event began at the first sensor, where the humidity is from", "number", "degC"),
    Column("dew_point_onset_c", "its dew point then", "number", "degC"),
    Column("wet_bulb_onset_c", "its wet bulb then; below 0 °C that of a wet surface under ice", "number", "degC"),
    Column("dew_point_lowest_c", "its lowest dew point in the event", "number", "degC"),
    Column("humidity_from", "whose humidity: the coldest logger that measures it, else that station; empty: nobody's"),
    Column("station", "which station tells kind, wind and sky; empty: none tells more than temperatures"),
    Column("distance_km", "of that station from the trial's place", "number", "km"),
)
ANSWERING = (
    Column("plant", "which plant"),
    Column("block", "its block"),
    Column("asked", "the sensors it asks, first to last, ';' between"),
    Column("sensor", "the one that answers; empty: none had a reading"),
    Column("why", "why that one is asked"),
    Column("events", "events in the plant's life for which it answers", "integer"),
    Column("estimated", "of these, answered from what other sensors say of it", "integer"),
    Column("distance_km", "of the sensor from the trial's place", "number", "km"),
    Column("height_m", "how much higher its ground lies than the trial's", "number", "m"),
)
