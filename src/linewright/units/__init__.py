"""Units: decibels, constants, and quantities as people write them.

Everything inside the package is SI (and decibels). Feet, MHz, dBm and percent exist only here and at the doors.
"""
