/* pivotrace on a microcontroller: where a rotary axis is, touch by touch.
 *
 * This header is the manual. It is plain C99 and may be included from C and from C++. The library
 * behind it takes no heap, no operating system, no clock, no file and no function of the standard
 * library but memset and memcpy. It keeps no data of its own: everything lies in memory the caller
 * hands in, so any number of surveys can be under way at once.
 *
 * WHAT IT DOES
 * One or two rotary axes that carry the work, or one that carries the tool (in a build for two axes
 * also one of each). A ball or a pin is touched at several angles. From the touches and from rough
 * nominal values the library finds each axis line, the covariance of what it found, and U95 with the
 * degrees of freedom that stand behind it; it names the worst touch and the worst station with their
 * tests, and refuses where the touches do not determine the answer.
 *
 * CAUTION. A wrong centre makes the control drive where nobody expects it. Never put a result into
 * force by itself: show old and new value side by side, let a qualified person decide, and move
 * slowly and with a finger on feed hold first. Local safety rules and the manual of the machine come
 * first. What the library does not look for: lobing of the trigger, drift, a bow of the linear axes.
 * They stand in no U95 below; the program on the PC bounds them.
 *
 * UNITS AND FRAMES
 *   lengths in        int32_t, 1 = 10 nm (1 mm = 100000)
 *   angles in         int32_t, 1 = 0.000001 deg
 *   sigmas in         int32_t, unit in the name; one sigma, or a standard uncertainty where `_u_`
 *   results           mm and rad of type pivotrace_real; centres also as int32_t of 10 nm
 * Machine frame: right-handed X Y Z, machine coordinates (no work offset, no rotation of coordinates,
 * no compensation of the rotary axes in force; the tool counted against the bed), latched at the
 * trigger, not read when the machine has come to rest. The position given with a touch is that of the
 * CENTRE of the stylus ball: a control that shows the tip adds half the stylus diameter along the tool
 * before. Pre-travel and the lobes of the probe are not taken off here: calibrate first. The carried
 * frame of an axis is the machine frame with all rotary angles at 0. A tool-side axis line is counted
 * from the position shown, with the head at 0.
 *
 * ORDER OF CALLS
 *   pivotrace_begin_survey      once; checks the set-up
 *   pivotrace_open_station      at every stay of the rotary axes
 *   pivotrace_add_touch         at every trigger
 *   pivotrace_take_back_touch   where the operator saw it slip
 *   pivotrace_merge             to go on with another run of the same set-up
 *   pivotrace_update            after any touch: a result good enough to show while probing
 *   pivotrace_fit               at the end: the exact result
 *   pivotrace_turn_sense        at the end, or when a fit is refused: does an axis turn the other way?
 *   pivotrace_between_axes      from a result: how two work-side axes lie to each other
 * Where a watchdog waits, pivotrace_begin_job and pivotrace_step do the same in slices: one station,
 * or the closing of one pass, a slice. A whole survey, every status looked at:
 *   static pivotrace_setup setup;         filled from the parameters of the machine
 *   static pivotrace_station stations[24];
 *   static pivotrace_touch touches[120];
 *   static pivotrace_survey survey;
 *   static pivotrace_result result;
 *   static pivotrace_real work[...];      see PIVOTRACE_WORK_SIZE
 *   status = pivotrace_begin_survey(&survey, &setup, stations, 24, touches, 120);
 *   at every stay     int32_t angle[] = {90000000};  90 degrees
 *                     status = pivotrace_open_station(&survey, angle, NULL, 0);
 *   at a trigger      int32_t at[] = {x, y, z};
 *                     status = pivotrace_add_touch(&survey, at);
 *   then and now      status = pivotrace_update(&survey, work, sizeof work, &result);
 *   at the end        status = pivotrace_fit(&survey, work, sizeof work, &result);
 *   to write          result.axis[0].centre, once a person agreed to it
 * examples/embedded/finder.c is such a program.
 *
 * TASKS AND INTERRUPTS
 * Every call works on what its arguments point at and on nothing else. Calls for different surveys may
 * interrupt each other; two calls for one survey, or with one work memory, may not: let the interrupt
 * of the probe put the latched position into a queue, and add it from the task that owns the survey.
 * Switch the floating-point unit on first, and save its registers with the task's where tasks change.
 *
 * MEMORY
 * Two arrays of the caller hold stations (16 bytes each, with two axes 20) and touches (12 bytes). The
 * work memory is needed by update, fit and turn_sense only; PIVOTRACE_WORK_SIZE says how much,
 * pivotrace_work_size says it for the survey at hand. One axis, a ball, twelve index positions: 1716
 * bytes in float, and 316 for the result; in double 3352 and 592. It must be aligned as pivotrace_real
 * is. It need not be kept between calls; kept, an update starts from the one before. It does not grow
 * with the touches. Stack of the deepest call, by the call graph: 410 bytes in float (480
 * built for size), 530 in double.
 *
 * TIME
 * An update costs one pass over all touches so far once the axes are roughly found (up to four
 * before), a fit three to six passes and the tests (no more than 12). Sixty touches at twelve stations
 * are 0.25 million instructions for one axis and 0.39 million for two on an ARMv7E-M with single
 * precision (0.33 and 0.49 with all parts below), 0.26 and 0.43 million with double (0.31 and 0.52),
 * and ten million for one axis without any such unit. tests/run-embedded prints today's figures. Every
 * loop is bounded by the number of touches, stations and index positions.
 *
 * ACCURACY
 * double: the same least-squares solution as the program on the PC to 0.5 nm and 0.001 arcsec. float:
 * within 10 nm and 0.05 arcsec of double while the artefact is no more than 70 mm off the axis (two
 * axes 20 nm, 0.1 arcsec); beyond that in proportion. In 2000 surveys each, made up at random, the worst
 * was 6 nm and 0.021 arcsec, and U95 held the truth in 94.9 to 95.1 of 100 of 10000.
 *
 * THE MODEL (so that nobody has to guess)
 * Each touch: the gap between stylus ball and artefact is 0 but for a normal error of touch_sigma
 * along the surface normal. Each station: a 3-vector of station_sigma shared by its touches (how well
 * the linear axes come back). Each index position, that is (axis, angle within a turn, side it was
 * reached from), angles within 1 degree being one: an angle error of index_sigma, and a 3-vector
 * of motion_sigma, both shared by every station there however often it is visited. Common terms
 * (probe offset, diameters, scales, squareness) do not scatter: they enter `absolute`, not
 * `repeatable`. Stated sigmas are themselves uncertain: they count like `dof` earlier readings and
 * are pooled with the scatter found, touches and stations apart. U95 = Student's t u.
 */
#ifndef PIVOTRACE_EMBEDDED_CORE_H
#define PIVOTRACE_EMBEDDED_CORE_H

#include <stddef.h>
#include <stdint.h>

/* ---- which build: the same definitions for all of src/embedded and whatever includes this ---- */

/* 0: float; 1: double. */
#ifndef PIVOTRACE_DOUBLE
#define PIVOTRACE_DOUBLE 0
#endif

/* Most rotary axes: 1 or 2. */
#ifndef PIVOTRACE_AXES
#define PIVOTRACE_AXES 2
#endif

/* What may be left out, each for the flash and the time that src/manual/embedded.md states: 1 with it,
 * 0 without. A set-up that asks for what is left out is refused. */
#ifndef PIVOTRACE_PINS
#define PIVOTRACE_PINS 1 /* artefacts that are pins */
#endif
#ifndef PIVOTRACE_TOOL_AXES
#define PIVOTRACE_TOOL_AXES 1 /* axes that carry the tool */
#endif
#ifndef PIVOTRACE_MOTION
#define PIVOTRACE_MOTION 1 /* motion_sigma: axes displaced at each index position by themselves */
#endif
#ifndef PIVOTRACE_LINEAR_TERMS
/* Scales and squareness of the linear axes. Without them U95_absolute is too small by what they do. */
#define PIVOTRACE_LINEAR_TERMS 1
#endif

#if PIVOTRACE_DOUBLE
typedef double pivotrace_real;
#define PIVOTRACE_REAL_ f64
#else
typedef float pivotrace_real;
#define PIVOTRACE_REAL_ f32
#endif

#define PIVOTRACE_PASTE_(name, real, axes, pins, tool, motion, linear) \
  name##_##real##_##axes##_##pins##tool##motion##linear
#define PIVOTRACE_NAME_(name, real, axes, pins, tool, motion, linear) \
  PIVOTRACE_PASTE_(name, real, axes, pins, tool, motion, linear)
#define PIVOTRACE_BUILD(name)                                                                 \
  PIVOTRACE_NAME_(name, PIVOTRACE_REAL_, PIVOTRACE_AXES, PIVOTRACE_PINS, PIVOTRACE_TOOL_AXES, \
                  PIVOTRACE_MOTION, PIVOTRACE_LINEAR_TERMS)

/* A program compiled for one build does not link with the library of another. */
#define pivotrace_begin_survey PIVOTRACE_BUILD(pivotrace_begin_survey)
#define pivotrace_open_station PIVOTRACE_BUILD(pivotrace_open_station)
#define pivotrace_add_touch PIVOTRACE_BUILD(pivotrace_add_touch)
#define pivotrace_take_back_touch PIVOTRACE_BUILD(pivotrace_take_back_touch)
#define pivotrace_merge PIVOTRACE_BUILD(pivotrace_merge)
#define pivotrace_work_size PIVOTRACE_BUILD(pivotrace_work_size)
#define pivotrace_begin_job PIVOTRACE_BUILD(pivotrace_begin_job)
#define pivotrace_step PIVOTRACE_BUILD(pivotrace_step)
#define pivotrace_update PIVOTRACE_BUILD(pivotrace_update)
#define pivotrace_fit PIVOTRACE_BUILD(pivotrace_fit)
#define pivotrace_begin_turn_sense PIVOTRACE_BUILD(pivotrace_begin_turn_sense)
#define pivotrace_step_turn_sense PIVOTRACE_BUILD(pivotrace_step_turn_sense)
#define pivotrace_turn_sense PIVOTRACE_BUILD(pivotrace_turn_sense)
#define pivotrace_between_axes PIVOTRACE_BUILD(pivotrace_between_axes)

#ifdef __cplusplus
extern "C" {
#endif

/* ---- status: what every call returns, and what the caller shows ---- */

/* Done. Show what was asked for. */
#define PIVOTRACE_OK 0
/* Not done yet: call pivotrace_step again. Nothing to show. */
#define PIVOTRACE_BUSY 1
/* A pointer is null. A fault of the calling program: show "internal fault 2" and stop. */
#define PIVOTRACE_NO_POINTER 2
/* A number in the set-up is out of its range. Show which one, "set-up wrong at ..", by
 * pivotrace_survey.at_fault; touches cannot be taken until it is right. */
#define PIVOTRACE_BAD_SETUP 3
/* An angle, a position, an artefact or a side is out of range. Show "reading out of range". */
#define PIVOTRACE_BAD_READING 4
/* No room for another station, touch or index position. Show "survey full: finish it". */
#define PIVOTRACE_FULL 5
/* The work memory is smaller than pivotrace_work_size. A fault of the calling program: show "internal
 * fault 6" and stop; or a new index position was met: work memory for more of them is needed. */
#define PIVOTRACE_TOO_SMALL 6
/* The work memory is not aligned for pivotrace_real. A fault of the calling program: show "internal
 * fault 7" and stop. */
#define PIVOTRACE_MISALIGNED 7
/* No station is open. Show "open a station first". */
#define PIVOTRACE_NO_STATION 8
/* Fewer readings than unknowns. Show "touch more". */
#define PIVOTRACE_TOO_FEW 9
/* A rotary axis of the set-up stood still. Show "turn axis .. as well". */
#define PIVOTRACE_NOT_TURNED 10
/* Something cannot be told from these touches, however good they are: `undetermined` of the result
 * says what. Show it, with "touch at more angles, from more sides, or at a second height". */
#define PIVOTRACE_UNDETERMINED 11
/* A U95 is beyond the limit of the set-up: `undetermined` says which. Show "spread the angles". */
#define PIVOTRACE_WEAK 12
/* The search left the neighbourhood of the nominal values or did not settle. Show "check the rough
 * centre, the artefact and its diameter, and which way the axis turns". */
#define PIVOTRACE_NOT_SETTLED 13
/* An axis turns the other way (pivotrace_turn_sense says which). Show "axis .. turns the other way:
 * look at the machine, then change `turn`". */
#define PIVOTRACE_OTHER_WAY 14
/* The touches fit either way of turning. Show "which way axis .. turns cannot be told: look". */
#define PIVOTRACE_EITHER_WAY 15
/* The survey changed while a job was under way. Show nothing: begin the job again. */
#define PIVOTRACE_CHANGED 16
/* Two surveys that do not belong together: different set-ups. Show "not the same set-up". */
#define PIVOTRACE_NOT_ALIKE 17

/* ---- set-up ---- */

#define PIVOTRACE_WORK_SIDE 0 /* the axis carries the work */
#define PIVOTRACE_TOOL_SIDE 1 /* the axis carries the tool */
#define PIVOTRACE_BALL 0
#define PIVOTRACE_PIN 1
#define PIVOTRACE_BED (-1) /* carried_by of an artefact no rotary axis turns */

#define PIVOTRACE_ARTEFACTS 2  /* most artefacts */
#define PIVOTRACE_POSITIONS 24 /* most index positions of one axis */

/* One rotary axis. Work-side axes in order, the outermost first. */
typedef struct {
  int32_t side; /* PIVOTRACE_WORK_SIDE or PIVOTRACE_TOOL_SIDE */
  int32_t
      turn; /* +1: a positive command turns what is carried right-handed about `direction`; -1 */
  int32_t
      direction[3];  /* nominal, any length up to 1000000; {0, 0, 1} is Z; true within 0.05 rad */
  int32_t centre[3]; /* nominal, 10 nm, true within 10 mm. Quoted plane: through it, square to
                           `direction`. Tool side: from the position shown */
  int32_t index_sigma_mas; /* 1 sigma of the angle at an index position, 0.001 arcsec */
  int32_t motion_sigma_nm; /* 1 sigma of each component of the axis' own place at an index position;
                              0 leaves it out and saves memory and time */
} pivotrace_axis;

/* One ball or pin. */
typedef struct {
  int32_t kind;         /* PIVOTRACE_BALL or PIVOTRACE_PIN */
  int32_t carried_by;   /* number of the work-side axis that carries it, or PIVOTRACE_BED */
  int32_t at[3];        /* rough, 10 nm, all axes at 0: ball centre, or a point on the pin's axis */
  int32_t direction[3]; /* pin: along its axis; ball: not used */
  int32_t diameter;     /* 10 nm: of artefact and stylus ball together */
  int32_t
      diameter_u_nm;   /* standard uncertainty of that sum; 0: not known, found from the touches */
  int32_t diameter_as; /* number of an earlier artefact of the very same diameter; -1: its own */
} pivotrace_artefact;

/* How well the machine does what it is told. */
typedef struct {
  int32_t touch_sigma_nm;       /* 1 sigma of one touch along the surface normal, 10 and more */
  int32_t station_sigma_nm;     /* 1 sigma per linear axis of a position reached again */
  int32_t dof;                  /* degrees of freedom behind these and the index sigmas: 4 to 1000.
                               8 is an uncertainty of 25 %. 0: exactly known, nothing is pooled */
  int32_t probe_offset_u_nm[3]; /* of the stylus centre against the position shown: X Y Z;
                                        Z is that of the stylus length */
  int32_t scale_u_nm_per_m[3];  /* of the scales of X Y Z */
  int32_t squareness_u_nm_per_m[3]; /* of XY, YZ, ZX */
  int32_t linear_origin[3];         /* 10 nm: where scale and squareness errors are 0: the centre of
                                        the innermost work-side axis, else the middle of the travels */
  int32_t location_limit_nm;        /* a larger U95 of a centre is refused; 500000 is sensible */
  int32_t orientation_limit_mas;    /* and of an orientation; 1800000 is sensible */
} pivotrace_errors;

typedef struct {
  int32_t axes;      /* 1 .. PIVOTRACE_AXES */
  int32_t artefacts; /* 1 .. PIVOTRACE_ARTEFACTS */
  pivotrace_axis axis[PIVOTRACE_AXES];
  pivotrace_artefact artefact[PIVOTRACE_ARTEFACTS];
  pivotrace_errors errors;
} pivotrace_setup;

/* ---- survey: read it freely, write it through the calls only ---- */

typedef struct {
  int32_t at[3]; /* centre of the stylus ball as shown, 10 nm */
} pivotrace_touch;

typedef struct {
  int32_t angle[PIVOTRACE_AXES]; /* commanded, 0.000001 deg */
  int32_t first;                 /* touch */
  int16_t touches;
  int16_t artefact;
  int8_t side[PIVOTRACE_AXES];      /* +1: reached upwards, -1: downwards */
  uint8_t position[PIVOTRACE_AXES]; /* index position of each axis */
} pivotrace_station;

typedef struct {
  const pivotrace_setup* setup; /* must stay where it is and as it is */
  pivotrace_station* station;
  pivotrace_touch* touch;
  int32_t station_room;
  int32_t touch_room;
  int32_t stations;
  int32_t touches;
  int32_t positions[PIVOTRACE_AXES]; /* index positions met so far */
  int32_t at_fault; /* after PIVOTRACE_BAD_SETUP: one of PIVOTRACE_FAULT_.. below */
} pivotrace_survey;

/* What PIVOTRACE_BAD_SETUP found: 100 n is added for axis or artefact number n. */
#define PIVOTRACE_FAULT_AXES 1
#define PIVOTRACE_FAULT_ARTEFACTS 2
#define PIVOTRACE_FAULT_AXIS_SIDE 3
#define PIVOTRACE_FAULT_AXIS_TURN 4
#define PIVOTRACE_FAULT_AXIS_DIRECTION 5
#define PIVOTRACE_FAULT_AXIS_CENTRE 6
#define PIVOTRACE_FAULT_AXIS_SIGMA 7
#define PIVOTRACE_FAULT_ARTEFACT_KIND 8
#define PIVOTRACE_FAULT_ARTEFACT_CARRIED_BY 9
#define PIVOTRACE_FAULT_ARTEFACT_AT 10
#define PIVOTRACE_FAULT_ARTEFACT_DIRECTION 11
#define PIVOTRACE_FAULT_ARTEFACT_DIAMETER 12
#define PIVOTRACE_FAULT_ERRORS 13
#define PIVOTRACE_FAULT_LIMITS 14

/* Starts an empty survey over the caller's arrays of stations and touches and checks the set-up.
 * OK, NO_POINTER, BAD_SETUP, FULL (an array without room). */
int32_t pivotrace_begin_survey(pivotrace_survey* survey, const pivotrace_setup* setup,
                               pivotrace_station* station, int32_t station_room,
                               pivotrace_touch* touch, int32_t touch_room);

/* A new stay: `angle` holds one angle per axis [0.000001 deg, within 2000 deg], `artefact` the number
 * of what is touched there. `side` says from which side each angle was reached (+1 upwards, -1
 * downwards); null, or 0 in it, and it is reckoned from the station before, the first station counting
 * as reached upwards. An axis that was not moved keeps its index position. A stay at two artefacts is
 * two stations. A station left without touches is used again. OK, NO_POINTER, BAD_READING, FULL. */
int32_t pivotrace_open_station(pivotrace_survey* survey, const int32_t* angle, const int32_t* side,
                               int32_t artefact);

/* One trigger at the open station: centre of the stylus ball X Y Z [10 nm, within 10 m].
 * OK, NO_POINTER, BAD_READING, NO_STATION, FULL. */
int32_t pivotrace_add_touch(pivotrace_survey* survey, const int32_t* at);

/* Forgets the last touch (the operator saw it slip). OK, NO_POINTER, NO_STATION. */
int32_t pivotrace_take_back_touch(pivotrace_survey* survey);

/* Adds the touches of another run with the same set-up, as if it had been one run: index positions
 * are shared, so what repeats in both is not counted twice. `artefact_moved` not 0: between the runs
 * the artefact was taken off; the set-up then holds it twice, and what the other run touched as number
 * 0 counts as number 1. Either all goes in or nothing. OK, NO_POINTER, NOT_ALIKE, FULL. */
int32_t pivotrace_merge(pivotrace_survey* into, const pivotrace_survey* from,
                        int32_t artefact_moved);

/* ---- result ---- */

typedef struct {
  pivotrace_real value; /* mm or rad */
  pivotrace_real u;     /* standard uncertainty, repeatable: between two surveys made alike */
  pivotrace_real U95;
  pivotrace_real u_absolute;   /* with probe offset, diameters, scales, squareness */
  pivotrace_real U95_absolute; /* what has to be believed before the value is written */
} pivotrace_value;

/* One axis. Along the axis itself (an axis along Z has no centre in Z) u is 0. */
typedef struct {
  int32_t centre[3]; /* 10 nm: where the line pierces the quoted plane; the value to write */
  pivotrace_value location[3]; /* X Y Z of that point minus the nominal centre [mm] */
  pivotrace_value
      orientation[3];          /* A B C: for an axis along X, Y or Z the angles of ISO 230-1 [rad]
                                     (for Z: E_A0C = atan2(-u_y, u_z), E_B0C = atan2(u_x, u_z));
                                     for any other the components of nominal x found */
  pivotrace_real direction[3]; /* unit */
  pivotrace_value arm; /* tool side: distance of the line from the stylus centre [mm]; else 0 */
} pivotrace_axis_result;

/* Bits of `undetermined`, for axis n shifted left by 2 n, for artefact n by 2 n. */
#define PIVOTRACE_OPEN_CENTRE 0x01
#define PIVOTRACE_OPEN_LEAN 0x02
#define PIVOTRACE_OPEN_PLACE 0x100
#define PIVOTRACE_OPEN_DIAMETER 0x200

/* Bits of `findings`. A clean survey shows any of them in less than 2 of 100: 0.5 of 100 are spent on
 * touches, as much on stations, 0.1 on each scatter. Of a touch and its own station only the one
 * further beyond its limit is named. */
#define PIVOTRACE_FOUND_TOUCH 1    /* the worst touch is beyond chance: take it again */
#define PIVOTRACE_FOUND_STATION 2  /* the worst station is: a clamp slipped, a chip, a knock */
#define PIVOTRACE_FOUND_TOUCHES 4  /* touches scatter more than stated */
#define PIVOTRACE_FOUND_STATIONS 8 /* stations scatter more than stated */

/* Unknowns of the axes, in the order of the covariance: per axis the shift [mm] of the centre along
 * the first and the second cross direction and the tilt [tan] towards them. The cross directions of
 * X Y Z are Y and Z, Z and X, X and Y. */
#define PIVOTRACE_AXIS_UNKNOWNS (4 * PIVOTRACE_AXES)

typedef struct {
  int32_t exact;        /* 1: pivotrace_fit; 0: an update */
  int32_t undetermined; /* bits above; what they name has no value to be shown */
  int32_t findings;     /* bits above; 0 in an update */
  int32_t touches;
  int32_t stations;
  int32_t passes; /* over the touches */
  int32_t dof; /* behind U95: `dof` of the set-up and the redundancy of the stations; 0: infinite */
  int32_t touch_redundancy;
  int32_t station_redundancy;
  pivotrace_real touch_chi2;        /* of the touches about their stations, stated sigma */
  pivotrace_real station_chi2;      /* of the stations about the axes */
  pivotrace_real touch_sigma;       /* pooled [mm] */
  int32_t worst_touch;              /* its number; -1: none can be tested */
  pivotrace_real worst_touch_t;     /* its error over the standard deviation of that, Student's t */
  pivotrace_real worst_touch_limit; /* beyond this it is found */
  int32_t worst_station;
  pivotrace_real worst_station_F; /* of the shift of the whole station, F with 1 to 3 dimensions */
  pivotrace_real worst_station_limit;
  pivotrace_axis_result axis[PIVOTRACE_AXES];
  /* Lower triangle by rows of the covariance of the axis unknowns [mm, rad]. */
  pivotrace_real repeatable[PIVOTRACE_AXIS_UNKNOWNS * (PIVOTRACE_AXIS_UNKNOWNS + 1) / 2];
  pivotrace_real absolute[PIVOTRACE_AXIS_UNKNOWNS * (PIVOTRACE_AXIS_UNKNOWNS + 1) / 2];
} pivotrace_result;

/* ---- work memory ---- */

/* Unknowns: 4 an axis, 3 a ball, 4 a pin, 1 a diameter. */
#define PIVOTRACE_UNKNOWNS(axes, balls, pins, diameters) \
  (4 * (axes) + 3 * (balls) + 4 * (pins) + (diameters))

/* Numbers that do not depend on the survey; a few more where pointers are longer. */
#if PIVOTRACE_DOUBLE
#define PIVOTRACE_WORK_FIXED ((PIVOTRACE_AXES == 1 ? 195 : 260) + (sizeof(void*) > 4 ? 4 : 0))
#else
#define PIVOTRACE_WORK_FIXED ((PIVOTRACE_AXES == 1 ? 205 : 271) + (sizeof(void*) > 4 ? 8 : 0))
#endif

#define PIVOTRACE_MORE_OF(a, b) ((a) > (b) ? (a) : (b))
#define PIVOTRACE_FEWER_OF(a, b) ((a) < (b) ? (a) : (b))

/* Numbers for p unknowns, `more` and `fewer` index unknowns of two axes, `each` of one position. */
#define PIVOTRACE_WORK_REALS_(p, more, fewer, each)                                   \
  (PIVOTRACE_WORK_FIXED + 6 * ((each) + (fewer) + (p) + 1) +                          \
   ((more) / (each)) * ((each) * ((fewer) + (p) + 1) + ((each) * ((each) + 1)) / 2) + \
   (((fewer) + (p)) * ((fewer) + (p) + 3)) / 2)

/* Bytes of work memory for `unknowns` (above) and the index positions of each axis (0 for an axis
 * there is not). `each` is 1, or 4 where an axis states a motion_sigma. Example, one axis, a ball,
 * at most 12 index positions:
 *   static pivotrace_real work[PIVOTRACE_WORK_SIZE(PIVOTRACE_UNKNOWNS(1, 1, 0, 1), 12, 0, 1) /
 *                              sizeof(pivotrace_real)]; */
#define PIVOTRACE_WORK_SIZE(unknowns, positions_1, positions_2, each)                   \
  (sizeof(pivotrace_real) *                                                             \
   (PIVOTRACE_WORK_REALS_(unknowns, (each)*PIVOTRACE_MORE_OF(positions_1, positions_2), \
                          (each)*PIVOTRACE_FEWER_OF(positions_1, positions_2), each)))

/* The same for the survey as it is now; 0 for a null pointer. It grows when a new index position is
 * met, and with nothing else. */
size_t pivotrace_work_size(const pivotrace_survey* survey);

/* ---- jobs ---- */

/* One re-linearised pass over all touches so far, and the state after it. What the touches do not
 * determine yet is held near its nominal value and named in `undetermined`. U95_absolute leaves scale
 * and squareness out here. `work` as the last update of this survey left it saves the search.
 * OK, NO_POINTER, BAD_SETUP (the survey was never begun well), TOO_SMALL, MISALIGNED, NOT_SETTLED (show
 * nothing this time). */
int32_t pivotrace_update(const pivotrace_survey* survey, void* work, size_t work_size,
                         pivotrace_result* result);

/* The exact result: closed-form start, re-linearised until a step, or the one that would follow, is no
 * longer than a tenth of the sigmas (double: a thousandth), as a root mean square over the unknowns;
 * a hundredth would not always settle in float. Then covariance, U95 and tests. On any status but
 * OK the result holds no values; after UNDETERMINED and WEAK `undetermined` says what is missing. OK,
 * NO_POINTER, BAD_SETUP, TOO_SMALL, MISALIGNED, TOO_FEW, NOT_TURNED, UNDETERMINED, WEAK, NOT_SETTLED. */
int32_t pivotrace_fit(const pivotrace_survey* survey, void* work, size_t work_size,
                      pivotrace_result* result);

/* Either of the two in slices: begin, then step while the status is BUSY. begin returns BUSY, or why
 * the job cannot be done, as the two above (BAD_SETUP also for another `job`); step returns BUSY, or
 * what the two above would have. Survey, work memory and result must stay where they are; a touch added
 * meanwhile ends the job with CHANGED. The longest slice, a station or the closing of a pass, takes up
 * to 13000 instructions for one axis, 30000 for two, and a third of a million for one axis without
 * floating-point unit. */
#define PIVOTRACE_JOB_UPDATE 1
#define PIVOTRACE_JOB_FIT 2
int32_t pivotrace_begin_job(const pivotrace_survey* survey, void* work, size_t work_size,
                            int32_t job, pivotrace_result* result);
int32_t pivotrace_step(const pivotrace_survey* survey, void* work, pivotrace_result* result);

/* Does each axis turn the way the set-up says? Solves with every combination of senses and compares.
 * `other_way` gets bit n set where axis n turns the other way or may do so. Uses the work memory anew.
 * OK (every axis turns as stated), OTHER_WAY, EITHER_WAY, or why it could not be asked (NO_POINTER,
 * BAD_SETUP, TOO_SMALL, MISALIGNED, TOO_FEW). About twice the instructions of a fit for one axis, four
 * times for two. */
int32_t pivotrace_turn_sense(const pivotrace_survey* survey, void* work, size_t work_size,
                             int32_t* other_way);
/* The same in slices. */
int32_t pivotrace_begin_turn_sense(const pivotrace_survey* survey, void* work, size_t work_size);
int32_t pivotrace_step_turn_sense(const pivotrace_survey* survey, void* work, int32_t* other_way);

/* How the second axis lies to the first, both on one side of the machine (set-up with two axes):
 * `distance` along first x second, with its sign [mm], and the angle `crossing` between the directions
 * [rad]. OK, NO_POINTER, BAD_SETUP (not two axes of one side), UNDETERMINED (parallel). */
int32_t pivotrace_between_axes(const pivotrace_survey* survey, const pivotrace_result* result,
                               pivotrace_value* distance, pivotrace_value* crossing);

#ifdef __cplusplus
}
#endif

#endif
