"""A phone's calendar: reads a feed with icalendar and expands it over local days with recurring_ical_events.

Standard input: the feed. Arguments: IANA zone, first local day, day after the last. Says one JSON document.
"""

import datetime
import json
import sys
import zoneinfo

import icalendar
import recurring_ical_events

raw = sys.stdin.buffer.read()
zone = zoneinfo.ZoneInfo(sys.argv[1])
first, last = (datetime.datetime.fromisoformat(day).replace(tzinfo=zone) for day in sys.argv[2:4])
calendar = icalendar.Calendar.from_ical(raw)


def local(instant):
    return instant.astimezone(zone).isoformat()


def event(found):
    alarms = [
        {
            "action": str(alarm["ACTION"]),
            "related": alarm["TRIGGER"].params.get("RELATED", "START"),
            "seconds": alarm["TRIGGER"].dt.total_seconds(),
            "properties": sorted(alarm.keys()),
        }
        for alarm in found.walk("VALARM")
    ]
    return {
        "uid": str(found["UID"]),
        "sequence": int(found["SEQUENCE"]),
        "modified": local(found["LAST-MODIFIED"].dt),
        "from": local(found["DTSTART"].dt),
        "until": local(found["DTEND"].dt),
        "summary": str(found["SUMMARY"]),
        "description": str(found["DESCRIPTION"]),
        "alarms": alarms,
    }


lines = raw.split(b"\r\n")
print(
    json.dumps(
        {
            "longest_line": max(len(line) for line in lines),
            "bare_newlines": sum(b"\n" in line for line in lines),
            "errors": [str(error) for part in calendar.walk() for error in part.errors],
            "properties": {name: calendar[name].to_ical().decode() for name in calendar},
            "events": [event(found) for found in calendar.walk("VEVENT")],
            "expanded": [event(found) for found in recurring_ical_events.of(calendar).between(first, last)],
        }
    )
)
