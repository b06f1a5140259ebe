#!/usr/bin/env python3
"""Makes forecast-ensemble.json, the invented weather of the demo.

    python3 demo-data/make_forecast.py > demo-data/forecast-ensemble.json

Everything in it is made up: no model ran and no station measured it. Only the form is that of the open
service's ensemble reply: a control run and 30 members, hourly, unix seconds, metres per second, five past
days and ten to come, as asked for on 9 March 2026 for latitude -39.6, longitude 176.7.

The story, in local time (UTC+13), told on Tuesday 10 March at 05:30:

    Tue 10   clear and calm; heavy dew at dawn, dry from about noon, light sea breeze
    Wed 11   warm north-westerly, rising; front in the late afternoon, gusts about 60 km/h, some runs over 70
    Wed-Thu  rain from Wednesday evening, a wet Thursday, about 16 mm in all
    Fri 13   clearing from the south, damp
    Sat 14   fair in most runs
    Sun on   the runs part: a second front on Monday, Tuesday, Wednesday, or not at all

Same seed, same file: only the standard library, and numbers rounded as the service rounds them.
"""

import json
import math
import random
from datetime import datetime, timedelta, timezone

SEED = 20260310
MEMBERS = 30
LATITUDE, LONGITUDE, ELEVATION = -39.6, 176.7, 20.0
FIRST = datetime(2026, 3, 4, tzinfo=timezone.utc)
ISSUED = datetime(2026, 3, 9, 12, tzinfo=timezone.utc)
HOURS = 15 * 24
LOCAL = timedelta(hours=13)

# Day of March: lowest and highest temperature, dew point at dawn and in the afternoon [deg C], mean wind by
# night and in the afternoon [m/s], its direction by night and by day [deg], cloud by night and by day [%].
DAYS = {
    3: (10.0, 22.0, 9.4, 9.5, 0.9, 2.8, 250, 80, 20, 25),
    4: (10.5, 23.0, 9.8, 10.0, 0.9, 3.0, 250, 80, 10, 20),
    5: (11.0, 24.0, 10.2, 10.5, 1.0, 3.2, 255, 75, 10, 30),
    6: (12.5, 20.0, 11.0, 12.0, 1.8, 4.0, 280, 200, 60, 85),
    7: (10.0, 19.0, 8.5, 7.5, 1.6, 3.6, 210, 170, 45, 40),
    8: (8.6, 21.0, 7.9, 10.0, 0.9, 2.8, 250, 90, 10, 15),
    9: (8.8, 22.0, 8.6, 12.2, 0.8, 2.6, 250, 85, 5, 10),
    10: (8.8, 22.5, 9.0, 9.4, 0.7, 2.3, 250, 80, 5, 10),
    11: (11.5, 24.5, 9.6, 9.6, 3.8, 5.9, 300, 320, 35, 75),
    12: (12.0, 14.5, 10.8, 10.8, 5.0, 4.6, 200, 190, 95, 95),
    13: (8.5, 17.0, 7.6, 7.0, 2.4, 3.2, 200, 180, 60, 45),
    14: (7.8, 20.0, 7.5, 7.4, 1.0, 2.7, 245, 95, 15, 20),
    15: (9.0, 21.0, 8.4, 8.8, 1.0, 3.0, 250, 85, 20, 30),
    16: (10.5, 21.5, 9.7, 10.0, 1.3, 3.4, 260, 60, 35, 40),
    17: (11.0, 21.0, 10.1, 10.3, 1.4, 3.6, 265, 50, 40, 45),
    18: (11.0, 21.0, 10.0, 10.2, 1.3, 3.4, 260, 60, 40, 45),
    19: (11.0, 21.0, 10.0, 10.2, 1.3, 3.4, 260, 60, 40, 45),
    20: (11.0, 21.0, 10.0, 10.2, 1.3, 3.4, 260, 60, 40, 45),
}
COLUMNS = ("low", "high", "dew_dawn", "dew_day", "wind_night", "wind_day", "dir_night", "dir_day", "cloud_night", "cloud_day")
DAWN, AFTERNOON = 6.5, 15.0


def between(a, b, share):
    """From a to b by a half cosine."""
    return a + (b - a) * 0.5 * (1.0 - math.cos(math.pi * share))


def swing(local, dawn, afternoon, evening=1.0):
    """A quantity that is `dawn` at dawn and `afternoon` in the afternoon of each day. With `evening` below
    1 it falls sooner after sunset, as the air does under a clear sky."""
    day, hour = local.day, local.hour + local.minute / 60.0
    today, value = dict(zip(COLUMNS, DAYS[day])), None
    if hour < DAWN:
        before = dict(zip(COLUMNS, DAYS[day - 1]))
        share = (hour + 24.0 - AFTERNOON) / (DAWN + 24.0 - AFTERNOON)
        value = between(before[afternoon], today[dawn], share**evening)
    elif hour < AFTERNOON:
        value = between(today[dawn], today[afternoon], (hour - DAWN) / (AFTERNOON - DAWN))
    else:
        after = dict(zip(COLUMNS, DAYS[day + 1]))
        share = (hour - AFTERNOON) / (DAWN + 24.0 - AFTERNOON)
        value = between(today[afternoon], after[dawn], share**evening)
    return value


def sin_elevation(utc):
    """Sine of the sun's elevation, good to about a degree, which is enough for invented weather."""
    day = utc.timetuple().tm_yday + utc.hour / 24.0
    declination = math.radians(23.45) * math.sin(2.0 * math.pi * (day - 81.0) / 365.0)
    angle = 2.0 * math.pi * (day - 81.0) / 364.0
    equation_min = 9.87 * math.sin(2.0 * angle) - 7.53 * math.cos(angle) - 1.5 * math.sin(angle)
    solar = utc.hour + utc.minute / 60.0 + LONGITUDE / 15.0 + equation_min / 60.0
    hour_angle = math.pi * (solar - 12.0) / 12.0
    latitude = math.radians(LATITUDE)
    return math.sin(latitude) * math.sin(declination) + math.cos(latitude) * math.cos(declination) * math.cos(hour_angle)


def bell(hours, width):
    return math.exp(-0.5 * (hours / width) ** 2)


class Front:
    """A band of wind and rain. Times in hours from FIRST."""

    def __init__(self, at, wind, rain, length, turn_to):
        self.at, self.wind, self.rain, self.length, self.turn_to = at, wind, rain, length, turn_to

    def blow(self, hour):
        """Wind added [m/s]: rising for a morning, gone within some hours behind the front."""
        before = hour - self.at
        return self.wind * (bell(before, 6.0) if before < 0.0 else bell(before, 3.5))

    def fall(self, hour):
        """Rain of the hour [mm]: the band itself, then showers behind it."""
        behind = hour - self.at - 1.5
        band = 0.34 * self.rain * bell(behind, 1.2) / 3.0
        showers = 0.66 * self.rain / self.length if 3.0 < behind < 3.0 + self.length else 0.0
        return band + showers

    def cool(self, hour):
        """Kelvin by which the air behind the band is colder: gone after a day."""
        behind = hour - self.at
        if behind < -0.5 or behind > 30.0:
            return 0.0
        return 0.5 * self.rain**0.5 * min(1.0, (behind + 0.5) / 3.0) * min(1.0, (30.0 - behind) / 12.0) + (
            3.5 * bell(behind - 3.0, 4.0) if self.rain > 4.0 else 0.0)

    def turned(self, hour, direction):
        """Direction, swung to the wind behind the front and back within a day and a half."""
        behind = hour - self.at
        if behind < -1.0 or behind > 36.0:
            return direction
        share = min(1.0, (behind + 1.0) / 2.0) * (1.0 if behind < 24.0 else (36.0 - behind) / 12.0)
        turn = (self.turn_to - direction + 180.0) % 360.0 - 180.0
        return (direction + share * turn) % 360.0


class Drift:
    """Noise with a memory: standard deviation 1, so much kept from hour to hour."""

    def __init__(self, rng, kept):
        self.rng, self.kept, self.value = rng, kept, rng.gauss(0.0, 1.0)

    def step(self):
        self.value = self.kept * self.value + math.sqrt(1.0 - self.kept**2) * self.rng.gauss(0.0, 1.0)
        return self.value


def hours_since_first(day, local_hour):
    at = datetime(2026, 3, day, tzinfo=timezone.utc) + timedelta(hours=local_hour) - LOCAL
    return (at - FIRST).total_seconds() / 3600.0


def fronts(rng, control):
    """The fronts of one member."""
    spread = 0.0 if control else 1.0
    past = Front(hours_since_first(6, 18.0), 2.0, 2.6, 4.0, 200.0)
    wind = 2.3 * math.exp(spread * rng.gauss(0.0, 0.36))
    rain = 20.5 * math.exp(spread * rng.gauss(0.0, 0.36))
    at = hours_since_first(11, 17.5) + spread * rng.gauss(0.0, 1.6)
    found = [past, Front(at, wind, rain, 17.0 + spread * rng.gauss(0.0, 2.5), 200.0)]
    day = rng.choices([15, 16, 17, 18, None], [0.5, 3, 3, 2, 3])[0]
    if control:
        day = 17
    if day is not None:
        at = hours_since_first(day, 6.0 + 14.0 * rng.random())
        found.append(Front(at, 3.2 * math.exp(rng.gauss(0.0, 0.3)), 8.0 * math.exp(rng.gauss(0.0, 0.7)), 9.0, 205.0))
    # A trough on Friday night or Saturday that only some runs have.
    if not control and rng.random() < 0.12:
        found.append(Front(hours_since_first(14, 2.0 + 12.0 * rng.random()), 2.0, 1.0 + 4.0 * rng.random(), 5.0, 190.0))
    return found


def code(rain, cloud, storm, fog):
    if storm:
        return 95
    if rain >= 0.1:
        steps = [(0.3, 51), (0.6, 53), (2.5, 61), (7.6, 63)]
        return next((number for most, number in steps if rain < most), 65)
    if fog:
        return 45
    return 0 if cloud < 15 else 1 if cloud < 40 else 2 if cloud < 75 else 3


def member(number):
    """The series of one member; 0 is the control run."""
    rng = random.Random(SEED * 1000 + number)
    control = number == 0
    bands = fronts(rng, control)
    warm, moist, breeze, veil = (Drift(rng, kept) for kept in (0.97, 0.96, 0.90, 0.93))
    calm_bias, storms = rng.gauss(0.0, 1.0), rng.random() < 0.13
    foggy = rng.random() < 0.1
    rows = {name: [] for name in UNITS}
    for k in range(HOURS):
        utc = FIRST + timedelta(hours=k)
        local = utc + LOCAL
        lead = max(0.0, (utc - ISSUED).total_seconds() / 86400.0)
        spread = 0.0 if control else min(1.0, 0.18 + 0.12 * lead) if lead > 0.0 else 0.0
        wander = {"warm": warm.step(), "moist": moist.step(), "breeze": breeze.step(), "veil": veil.step()}

        cloud = swing(local, "cloud_night", "cloud_day") + spread * 45.0 * wander["veil"]
        rain = sum(band.fall(k) for band in bands)
        if rain > 0.02:
            cloud = max(cloud, 92.0)
            rain *= max(0.0, 1.0 + (0.35 if lead == 0.0 else 0.55) * rng.gauss(0.0, 1.0))
        cloud = min(100.0, max(0.0, cloud))

        wind = swing(local, "wind_night", "wind_day") * math.exp(spread * (0.35 * wander["breeze"] + 0.15 * calm_bias))
        wind += sum(band.blow(k) for band in bands)
        day = max(0.0, sin_elevation(utc))
        factor = 1.45 + 0.40 * day + 0.04 * max(0.0, rng.gauss(0.0, 1.0))
        gust = wind * factor + 0.55 * sum(band.blow(k) for band in bands)
        direction = swing_direction(local)
        for band in bands:
            direction = band.turned(k, direction)
        direction = (direction + spread * 25.0 * wander["breeze"] + 4.0 * rng.gauss(0.0, 1.0)) % 360.0

        air = swing(local, "low", "high", 0.65) + spread * 2.4 * wander["warm"]
        air -= 0.02 * (cloud - 50.0) * (day - 0.25) * spread
        dew = swing(local, "dew_dawn", "dew_day") + spread * (1.6 * wander["warm"] + 1.6 * wander["moist"])
        air -= sum(band.cool(k) for band in bands) * min(1.0, 0.25 + day * 1.5 + 0.4 * (local.day == 11))
        if rain > 0.1:
            dew = max(dew, air - 1.5)
        dew = min(dew, air - 0.2)

        light = 0.0
        for step in range(6):
            sun = max(0.0, sin_elevation(utc - timedelta(minutes=55 - 10 * step)))
            light += 1000.0 * sun**1.15 * (1.0 - 0.7 * cloud / 100.0) / 6.0

        storm = storms and 0 <= k - bands[1].at < 4 and rain > 0.4
        fog = foggy and air - dew < 0.5 and wind < 1.2 and 3 <= local.hour <= 8 and lead > 3.0
        rows["temperature_2m"].append(round(air, 1))
        rows["dew_point_2m"].append(round(dew, 1))
        rows["precipitation"].append(round(rain, 1))
        rows["wind_speed_10m"].append(round(wind, 1))
        rows["wind_gusts_10m"].append(round(max(gust, wind), 1))
        rows["wind_direction_10m"].append(round(direction) % 360)
        rows["shortwave_radiation"].append(round(light))
        rows["cloud_cover"].append(round(cloud))
        rows["weather_code"].append(code(round(rain, 1), cloud, storm, fog))
    return rows


def swing_direction(local):
    """Direction of the undisturbed wind: by night down the valley, by day from the sea."""
    today = dict(zip(COLUMNS, DAYS[local.day]))
    hour = local.hour + local.minute / 60.0
    return float(today["dir_day"] if 9.5 <= hour < 19.5 else today["dir_night"])


UNITS = {
    "temperature_2m": "°C",
    "dew_point_2m": "°C",
    "precipitation": "mm",
    "wind_speed_10m": "m/s",
    "wind_gusts_10m": "m/s",
    "wind_direction_10m": "°",
    "shortwave_radiation": "W/m²",
    "cloud_cover": "%",
    "weather_code": "wmo code",
}


def main():
    runs = [member(number) for number in range(MEMBERS + 1)]
    units, hourly = {"time": "unixtime"}, {"time": [int((FIRST + timedelta(hours=k)).timestamp()) for k in range(HOURS)]}
    for name, unit in UNITS.items():
        for number, rows in enumerate(runs):
            key = name if number == 0 else f"{name}_member{number:02}"
            units[key] = unit
            hourly[key] = rows[name]
    reply = {
        "latitude": LATITUDE,
        "longitude": LONGITUDE,
        "generationtime_ms": 0.0,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "timezone_abbreviation": "GMT",
        "elevation": ELEVATION,
        "hourly_units": units,
        "hourly": hourly,
    }
    print(json.dumps(reply, ensure_ascii=False, separators=(",", ":")))


if __name__ == "__main__":
    main()
