// Collar, one an LED: presses the clean-up filter against its lip, and keeps each LED's light in its own cell.
include <dimensions.scad>

height_mm = ring_front_mm - lip_mm - clean_up_thickness_mm - heat_sink_mm - led_board_mm;

assert(height_mm >= 1.2, "no room for the collar: a thinner clean-up filter");

module led_collar() {
    difference() {
        cylinder(d = clean_up_diameter_mm, h = height_mm);
        translate([0, 0, -1]) cylinder(d = clean_up_diameter_mm - 2.8, h = height_mm + 2);
    }
}

led_collar();
