"""Judgement: is the trend level, should the setpoint move, is the gain right, is the meter true."""
