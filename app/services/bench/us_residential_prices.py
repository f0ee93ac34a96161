"""Residential electricity prices of the United States, as a reference table that a bench can import.

Source: US Energy Information Administration, Electric Power Annual, data for 2023, released 17 October 2024; a work of
the US government, in the public domain. By state: read (the stored copy of the page ends before Wyoming and the
national total, so there are 50 rows with the District of Columbia). National averages by year: from memory, and
marked so wherever they are shown.
"""

SOURCE = "US EIA, Electric Power Annual, data for 2023"

# cents per kilowatt-hour, mean of 2023
CENTS_BY_STATE_2023 = {
    "Alabama": 14.63,
    "Alaska": 23.9,
    "Arizona": 14.02,
    "Arkansas": 12.25,
    "California": 29.51,
    "Colorado": 14.3,
    "Connecticut": 29.88,
    "Delaware": 15.73,
    "District of Columbia": 16.45,
    "Florida": 15.21,
    "Georgia": 13.69,
    "Hawaii": 42.39,
    "Idaho": 11.05,
    "Illinois": 15.71,
    "Indiana": 14.94,
    "Iowa": 13.31,
    "Kansas": 13.38,
    "Kentucky": 12.65,
    "Louisiana": 11.55,
    "Maine": 27.42,
    "Maryland": 16.6,
    "Massachusetts": 29.61,
    "Michigan": 18.84,
    "Minnesota": 14.73,
    "Mississippi": 13.23,
    "Missouri": 12.58,
    "Montana": 12.54,
    "Nebraska": 11.2,
    "Nevada": 16.67,
    "New Hampshire": 28.15,
    "New Jersey": 17.7,
    "New Mexico": 13.85,
    "New York": 22.25,
    "North Carolina": 12.93,
    "North Dakota": 11.01,
    "Ohio": 15.38,
    "Oklahoma": 12.08,
    "Oregon": 12.73,
    "Pennsylvania": 18.1,
    "Rhode Island": 27.02,
    "South Carolina": 13.68,
    "South Dakota": 12.32,
    "Tennessee": 12.19,
    "Texas": 14.46,
    "Utah": 11.2,
    "Vermont": 20.82,
    "Virginia": 14.26,
    "Washington": 10.98,
    "West Virginia": 14.05,
    "Wisconsin": 16.88,
}

# cents per kilowatt-hour, mean of the year; from memory
NATIONAL_CENTS_BY_YEAR = {
    2018: 12.87,
    2019: 13.01,
    2020: 13.15,
    2021: 13.66,
    2022: 15.04,
    2023: 16.0,
}
