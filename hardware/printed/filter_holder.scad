// Filter holder and light baffle in one: the filter drops in from behind onto a lip, the spacer behind it, the camera mount closes it.
// The baffle's rim is the foremost surface of the handheld: no straight way leads from an LED to the filter, and the sleeve's window
// lies on the rim without a gap. Printed foot down.
include <dimensions.scad>

aperture_mm = filter_diameter_mm - 2;
rim_mm = ring_front_mm + rim_proud_mm;
rim_width_mm = 2.4;

assert(filter_thickness_mm + 1.2 <= filter_pocket_mm, "no room for a spacer of 1.2 mm: a thinner filter, or a deeper pocket");

module filter_holder() {
    difference() {
        union() {
            cylinder(r = baffle_radius_mm + 1.5, h = flange_mm);
            cylinder(r = baffle_radius_mm, h = rim_mm);
        }
        translate([0, 0, -1]) cylinder(d = filter_diameter_mm + filter_clearance_mm, h = filter_pocket_mm + 1);
        translate([0, 0, -1]) cylinder(d = aperture_mm, h = rim_mm + 2);
        // A flare, with steps that turn grazing light away from the filter.
        for (step = [0 : 3]) {
            low = filter_pocket_mm + lip_mm + step * (rim_mm - filter_pocket_mm - lip_mm) / 4;
            width = aperture_mm / 2 + (step + 1) * (baffle_radius_mm - rim_width_mm - aperture_mm / 2) / 4;
            translate([0, 0, low]) cylinder(r = width, h = rim_mm);
        }
        // Two notches for a finger nail: the filter is pushed out from the front, never gripped on its faces.
        for (turn = [0, 180]) rotate(turn) translate([filter_diameter_mm / 2 - 1, -3, -1]) cube([3.4, 6, filter_pocket_mm - 1]);
    }
}

filter_holder();
