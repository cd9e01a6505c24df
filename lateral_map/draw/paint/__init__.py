"""What every drawing on paper is painted with: SVG, typeface, hatches, marks, labels."""
