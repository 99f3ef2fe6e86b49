// Spacer behind the filter: what the filter lacks of the pocket's depth, so that any thickness is held without rattle or force.
// It moves no focus: a plate in front of the lens makes the object look t (1 - 1/n) nearer, under a millimetre
// (shared/optics/focus.py), far less than the depth of field.
include <dimensions.scad>

module filter_spacer() {
    difference() {
        cylinder(d = filter_diameter_mm, h = filter_pocket_mm - filter_thickness_mm);
        translate([0, 0, -1]) cylinder(d = filter_diameter_mm - 3, h = filter_pocket_mm);
    }
}

filter_spacer();
