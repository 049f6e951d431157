"""A job file in which everything is right."""

GOOD = """\
format = 1

[job]
title = "Hesitates on a cold morning"
complaint = "Stumbles for a minute after start, then clears"
opened = 2026-03-02

[vehicle]
description = "1.6 litre petrol hatchback"
odometer_km = 148200
[vehicle.engine]
displacement_l = 1.598
cylinders = 4
cycle = "four-stroke"
fuel = "petrol"
induction = "natural"

[[code]]
code = "P0113"

[meter]
counts = 4000
dc_volts = "0.5 % + 2 digits"
input_resistance = "10 Mohm"

[connector]
name = "intake sensor"
kind = "air-mass"
[[connector.terminal]]
pin = "1"
colour = "YE/BK"
[[connector.terminal]]
pin = "2"
diagram = "sensor-ground"
[[connector.terminal]]
pin = "C7"

[[round]]
name = "A"
plugged = false
key = "on"
battery_volts = 12.58
black_lead_check = "12.57 V"
ambient_celsius = 19.0
volts = { 1 = 5.01, 2 = "12 mV", C7 = "5.00" }
sensor_ohms = { 2-1 = "2.21 kohm", C7-1 = "OL" }
volts_loaded = { 1 = 1.56 }
fitted = [{ from = "1", to = "battery negative", ohms = "2.2 kohm" }]

[[round]]
name = "B"
plugged = true
key = "run"
rpm = 750
volts_high = { 1 = 2.1 }
volts_low = { 1 = 1.9 }
level_high = { C7 = "4.95 V ± 60 mV" }
level_low = { C7 = "0.2 V" }
duty_percent = { C7 = 40 }
scan = { "intake air temperature" = "66 degF", "air mass flow" = "11.5 kg/h" }

[[round]]
name = "C"
plugged = false
key = "off"
harness_ohms = { 2 = 0.3 }
"""
