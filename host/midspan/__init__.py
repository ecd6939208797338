"""Static spine of arrow shafts: measured, converted, judged and kept."""
