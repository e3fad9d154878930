from .bands import air_bands as air_bands
