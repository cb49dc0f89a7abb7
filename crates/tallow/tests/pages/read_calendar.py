"""Prints what the package icalendar reads in a calendar file, as JSON."""

import json
import sys

from icalendar import Calendar


def text(component, name):
    value = component.get(name)
    return None if value is None else str(value)


def event(component):
    return {
        "uid": text(component, "uid"),
        "stamp": component.decoded("dtstamp").isoformat(),
        "sequence": component.decoded("sequence"),
        "status": text(component, "status"),
        "start": component.decoded("dtstart").isoformat(),
        "end": component.decoded("dtend").isoformat(),
        "summary": text(component, "summary"),
        "description": text(component, "description"),
        "location": text(component, "location"),
        "contact": text(component, "contact"),
    }


with open(sys.argv[1], "rb") as file:
    calendar = Calendar.from_ical(file.read())

json.dump(
    {
        "version": text(calendar, "version"),
        "method": text(calendar, "method"),
        "name": text(calendar, "name"),
        "errors": [str(error) for component in calendar.walk() for error in component.errors],
        "events": [event(component) for component in calendar.walk("VEVENT")],
    },
    sys.stdout,
)
