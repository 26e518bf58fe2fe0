"""The tests of firstsilk, floor by floor."""
