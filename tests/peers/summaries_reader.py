"""Reads a calendar with icalendar and says the summary of each event, in order, as one JSON list."""

import json
import sys

import icalendar

calendar = icalendar.Calendar.from_ical(sys.stdin.buffer.read())
print(json.dumps([str(event["SUMMARY"]) for event in calendar.walk("VEVENT")]))
