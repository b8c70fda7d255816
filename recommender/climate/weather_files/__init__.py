"""Readers and judges of weather files; `recommender.climate.weather` is their public face."""
