// Every dimension that two parts share. All in millimetres; the optical axis is z, towards the patient; z = 0 is the front face of
// the camera mount. leds and ring_radius_mm repeat hardware/ring.toml (a test holds them to it); render.py passes the file's values.
leds = 8;
ring_radius_mm = 30;

filter_diameter_mm = 25;          // or 25.4
filter_thickness_mm = 3;          // as measured with a calliper, not as ordered
filter_clearance_mm = 0.3;        // on the diameter

// The stack from the camera mount forward.
heat_sink_mm = 4;                 // aluminium ring plate
led_board_mm = 1.6;               // aluminium-core boards, 16 mm, one LED each
led_board_diameter_mm = 16;
clean_up_diameter_mm = 12.5;      // clean-up filters in front of the LEDs
clean_up_thickness_mm = 3.5;
port_diameter_mm = 10;            // where the light leaves
lip_mm = 1.6;                     // what holds a filter at its edge
ring_front_mm = 14.4;             // front face of the ring
rim_proud_mm = 0.6;               // the baffle's rim stands in front of the ring, so that the sleeve's window lies on it

filter_pocket_mm = 5;             // filter and spacer together
baffle_radius_mm = 20;            // outside of the filter holder
flange_mm = 3;                    // foot of the filter holder, clamped by the ring
slide_mm = 0.2;                   // gap between parts that slide into each other, on the radius

ring_outer_radius_mm = ring_radius_mm + 13;
heat_sink_inner_radius_mm = baffle_radius_mm + 2.2;
heat_sink_outer_radius_mm = ring_outer_radius_mm - 2;
screw_radius_mm = ring_radius_mm + 7;   // four screws M3, each between two LEDs
screws = 4;
screw_turn_deg = 180 / leds;

m25_pilot_mm = 2.1;               // M2.5 cuts its own thread
m3_clear_mm = 3.4;
m3_insert_mm = 4.0;               // for heat-set inserts
m3_head_mm = 6.2;

// Camera and lens. Screw pattern and board size from memory: hold the real board against the print before screwing.
camera_pattern_mm = 30;
camera_block_mm = 44;
lens_bore_mm = 32;
lens_window_mm = 22;
board_to_lens_front_mm = 38;      // measured on the focused lens
camera_depth_mm = board_to_lens_front_mm + 2;

// Body: camera mount in front, ring driver upright behind it, power bank on the floor, board under the lid. The board's pattern
// (58 x 49, M2.5; 52.5 from its middle to the edge with the USB sockets) from memory.
wall_mm = 2.4;
floor_mm = 4;
pad_mm = 5;                       // floor under the camera mount
body_width_mm = 66;
body_length_mm = 180;
body_height_mm = 58;
board_pattern_mm = [49, 58];
board_behind_mm = 9;              // from the back wall to the board: the sockets reach further, the corner posts need the rest
board_middle_mm = -body_length_mm / 2 + wall_mm + board_behind_mm + 52.5;
mount_front_mm = body_length_mm / 2 + 6;  // front face of the camera mount, from the middle of the body
grip_middle_mm = 26;
grip_pattern_mm = [30, 30];

module screw_circle(radius) {
    for (i = [0 : screws - 1]) rotate(screw_turn_deg + i * 360 / screws) translate([radius, 0, 0]) children();
}

module rectangle_of(pattern) {
    for (x = [-1, 1], y = [-1, 1]) translate([x * pattern[0] / 2, y * pattern[1] / 2, 0]) children();
}

module rounded_plate(size, radius, height) {
    linear_extrude(height, convexity = 4) offset(radius) square([size[0] - 2 * radius, size[1] - 2 * radius], center = true);
}
