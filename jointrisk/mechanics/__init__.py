"""Strength of the parts of a bonded rod: arrays in, arrays out, one published model a function.

Lengths in mm, forces in N, stresses in MPa, toughness in N/mm, temperatures in degC.
"""
