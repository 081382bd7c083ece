//! A record of every kind, with every variant of what stands in one, and what is missing among records.

use std::collections::{BTreeMap, BTreeSet};

use rinseward::core::alert::Condition;
use rinseward::core::cycle::plate::{LimitSource, MachineKind, Sanitizing};
use rinseward::core::cycle::verdict::{Finding, Reason, Verdict};
use rinseward::core::reading::Fault;
use rinseward::core::record::{Basis, Body, Cycle, DoseBasis, Record, WindowFrom};
use rinseward::core::sanitizer::Refusal;
use serde_json::Value;

use super::fixture::{at, cycle};

/// Bodies as they stand on record, but for cycles. Written once, they are read for ever: a form is added here, and
/// none is changed once its format is released.
const BODIES: &[&str] = &[
    // Gaps, checks, the service.
    r#"{"gap":{"probe":"dm2/rinse","fault":"open-circuit","from":"2026-01-01T05:00:00Z","to":null}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"short","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z","filled":true}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"reversed","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"out-of-range","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"stuck","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"silent","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"no-cold-junction","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"gap":{"probe":"dm2/rinse","fault":"reported","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:01:00Z"}}"#,
    r#"{"check":{"check":"sanitizer","at":"2026-01-01T05:00:00Z","mg_per_l":75.0,"ph":7.5,"solution_c":49.0,"method":"test strip","by":"Ana (user ana)"}}"#,
    r#"{"check":{"check":"supply","at":"2026-01-01T05:00:00Z","enough":false,"note":"detergent is short","by":"Ana (user ana)"}}"#,
    r#"{"check":{"check":"supply","at":"2026-01-01T05:00:00Z","enough":false,"short":["detergent","rinse-additive","sanitizer","test-strips"],"by":"AB"}}"#,
    r#"{"check":{"check":"drain-and-clean","at":"2026-01-01T05:00:00Z","note":"scale on the arms","by":"Ana (user ana)"}}"#,
    r#"{"check":{"check":"thermometer","at":"2026-01-01T05:00:00Z","what":"dm2/rinse","shown_c":82.9,"reference_c":82.4,"tolerance_c":1.5,"reference":"T7","by":"Ana (user ana)"}}"#,
    r#"{"service-stop":{"cause":"signal"}}"#,
    r#"{"service-stop":{"cause":"end-of-input"}}"#,
    r#"{"service-start":{"version":"0.1.0","last_record":"2026-01-01T02:00:02Z","after_clean_stop":false,"from_file":true,"replayed":12}}"#,
    r#"{"clock-step":{"clock":"gateway","from":"2026-01-01T05:00:00Z","to":"2026-01-01T05:00:09Z"}}"#,
    r#"{"clock-step":{"clock":"source","from":"2026-01-01T05:00:09Z","to":"2026-01-01T05:00:00Z"}}"#,
    r#"{"configuration-change":{"sha256":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","toml":""}}"#,
    r#"{"machine-failure":{"cause":"a trace without a reading","stopped":true}}"#,
    // Alerts; one for each condition is raised beside these.
    r#"{"alert-raised":{"alert":1,"condition":"cold","since":"2026-01-01T05:00:00Z","place":"final-rinse","measured":{"celsius":71.3},"limit":{"celsius":82.2},"pattern":"first-after-idle","about":["dm2/rinse"],"cause":7,"last_good":6}}"#,
    r#"{"alert-raised":{"alert":2,"condition":"brief","since":"2026-01-01T05:00:00Z","place":"ware","measured":{"seconds":4.0},"limit":{"seconds":9.0},"pattern":"single"}}"#,
    r#"{"alert-raised":{"alert":3,"condition":"weak","since":"2026-01-01T05:00:00Z","place":"other","measured":{"mg-per-l":20.0},"limit":{"mg-per-l":50.0},"pattern":"repeated"}}"#,
    r#"{"alert-raised":{"alert":4,"condition":"disk-filling","since":"2026-01-01T05:00:00Z","place":"wash-tank","measured":{"fraction":0.96},"limit":{"count":3}}}"#,
    r#"{"alert-changed":{"alert":1,"change":"grew","racks":3,"pattern":"repeated","measured":{"celsius":70.1},"about":["dm2/rinse"],"cause":8}}"#,
    r#"{"alert-changed":{"alert":1,"change":"grew","racks":4,"about":["dm1/rinse"],"cause":8,"earlier":{"racks":{"count":1,"named":[{"index":2,"at":"2026-01-01T05:00:00Z"}]},"by_probe":{"probe":"dm1/rinse","place":"final-rinse","within_k":1.5}}}}"#,
    r#"{"alert-raised":{"alert":5,"condition":"check-overdue","since":"2026-01-01T05:00:00Z","about":["sanitizer"],"missed":{"check":"sanitizer","due":"2026-01-01T05:00:00Z","counts_from":"2026-01-01T04:00:00Z"}}}"#,
    r#"{"alert-changed":{"alert":5,"change":"missed-again","racks":0,"about":["sanitizer"],"missed":{"check":"sanitizer","due":"2026-01-01T13:00:00Z","counts_from":"2026-01-01T12:00:00Z"}}}"#,
    r#"{"alert-changed":{"alert":1,"change":"eased","racks":4,"about":["dm1/wash"]}}"#,
    r#"{"alert-changed":{"alert":1,"change":"returned","racks":3,"last_good":2}}"#,
    r#"{"alert-changed":{"alert":1,"change":"returned","racks":4,"released":"Tom"}}"#,
    r#"{"alert-changed":{"alert":3,"condition":"weak","change":"returned","racks":5,"measured":{"ph":10.5},"limit":{"ph":10.0},"earlier":{"racks":{"count":1,"named":[{"index":2,"at":"2026-01-01T05:00:00Z","began":"2026-01-01T04:59:48Z"}]}}}}"#,
    r#"{"alert-changed":{"alert":1,"change":"escalated","racks":3}}"#,
    r#"{"alert-changed":{"alert":1,"change":"escalation-ended","racks":3}}"#,
    r#"{"alert-changed":{"alert":1,"change":"nobody-to-tell","racks":3}}"#,
    r#"{"alert-changed":{"alert":1,"change":"held","racks":3}}"#,
    r#"{"alert-acknowledged":{"alert":1,"by":"Ana","via":"link","note":"on my way"}}"#,
    r#"{"alert-acknowledged":{"alert":1,"by":"Ana (user ana)","via":"command"}}"#,
    r#"{"alert-acknowledged":{"alert":1,"by":"Ana","via":"page"}}"#,
    r#"{"alert-cleared":{"alert":1,"clearing":"recovered","racks":3,"cause":9}}"#,
    r#"{"alert-cleared":{"alert":1,"clearing":"withdrawn","racks":0,"cause":9}}"#,
    r#"{"alert-cleared":{"alert":2,"clearing":"lapsed","racks":1}}"#,
    r#"{"alert-cleared":{"alert":3,"clearing":"retired","racks":1}}"#,
    r#"{"alert-cleared":{"alert":3,"clearing":"recovered","racks":5,"worst":{"ph":10.5},"limit":{"ph":10.0},"cause":9}}"#,
    r#"{"alert-closed":{"alert":1,"racks":3,"needed_action":true}}"#,
    r#"{"corrective-action":{"alert":1,"by":"Ana","racks":"washed again","done":"booster reset","last_good":"2026-01-01T04:59:00Z","covers":3}}"#,
    r#"{"notification":{"key":"1-1-ana","alert":1,"occasion":"raised","contact":"ana","route":"email:ana@example.org","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-2-ana","alert":1,"occasion":"grew","contact":"ana","route":"text:15551234567@example.net","outcome":"given-up","attempts":8,"error":"550 no such user"}}"#,
    r#"{"notification":{"key":"1-3-ana","alert":1,"occasion":"returned","contact":"ana","route":"webhook:chat","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-4-ana","alert":1,"occasion":"summary","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-5-ana","alert":1,"occasion":"escalated","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-6-ana","alert":1,"occasion":"cleared","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-7-ana","alert":1,"occasion":"action-missing","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-8-ana","alert":1,"occasion":"closed","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"1-9-ana","alert":1,"occasion":"after-maintenance","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"test-1-ana","occasion":"test","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"notification":{"key":"digest-1-ana","contact":"ana","route":"mqtt","outcome":"delivered","attempts":1}}"#,
    r#"{"maintenance":{"until":"2026-01-01T06:00:00Z","by":"Eli (user eli)","why":"calibration of dm2/rinse","ended":false}}"#,
    r#"{"maintenance":{"until":"2026-01-01T06:05:00Z","by":"Eli (user eli)","why":"calibration of dm2/rinse","ended":false,"begun":"2026-01-01T05:00:00Z","dialog":"goes-on"}}"#,
    r#"{"maintenance":{"until":"2026-01-01T06:08:00Z","by":"Eli (user eli)","ended":false,"begun":"2026-01-01T05:00:00Z","dialog":"over"}}"#,
    r#"{"maintenance":{"until":"2026-01-01T06:00:00Z","ended":true}}"#,
    r#"{"maintenance":{"until":"2026-01-01T06:00:00Z","by":"Ana","ended":true,"begun":"2026-01-01T05:00:00Z","worked":[{"by":"Eli (user eli)","why":"calibration of dm2/rinse"},{"by":"Ana"}]}}"#,
    // What people add to the record, and how it is kept.
    r#"{"note":{"at":"2026-01-01T05:00:00Z","text":"the booster hums","by":"Ana (user ana)"}}"#,
    r#"{"amendment":{"of":1,"reason":"the probe was out of the line","by":"Ana (user ana)","change":"comment"}}"#,
    r#"{"amendment":{"of":9,"reason":"of another machine","by":"Ana (user ana)","change":"withdrawn"}}"#,
    r#"{"amendment":{"of":10,"reason":"misread","by":"Ana (user ana)","change":{"corrected":{"check":"supply","at":"2026-01-01T05:00:00Z","enough":true,"by":"Ana"}}}}"#,
    r#"{"signing-key":{"key":"kitchen+93a9c2f3+AaMqh9Bz2mb2k0BzV2RyY2l5b2YgYSBrZXkgb2Ygbm9ib2R5","change":"first"}}"#,
    r#"{"signing-key":{"key":"kitchen+93a9c2f4+AaMqh9Bz2mb2k0BzV2RyY2l5b2YgYSBrZXkgb2Ygbm9ib2R5","change":"rotated","before":"kitchen+93a9c2f3+AaMqh9Bz2mb2k0BzV2RyY2l5b2YgYSBrZXkgb2Ygbm9ib2R5","endorsed":"kitchen+93a9c2f4\n","by":"Ana (user ana)"}}"#,
    r#"{"signing-key":{"key":"kitchen+93a9c2f5+AaMqh9Bz2mb2k0BzV2RyY2l5b2YgYSBrZXkgb2Ygbm9ib2R5","change":"lost"}}"#,
    r#"{"lawful-hold":{"on":true,"reason":"case 12","by":"Ana (user ana)"}}"#,
    r#"{"lawful-hold":{"on":false,"reason":"case 12 is over","by":"Ana (user ana)"}}"#,
    r#"{"pruned":{"before":"2025-01-01T00:00:00Z","readings":96}}"#,
    r#"{"import":{"file":"node.senml","sha256":"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855","readings":12,"repeats":2,"from":"2026-01-01T04:00:00Z","to":"2026-01-01T04:00:12Z","by":"Ana (user ana)"}}"#,
    r#"{"restored":{"records":8,"root":"9b800a26d4e32c1b60ea671cfe37f3b6815b423e85c586c3daf1773b8aa45044","by":"Ana (user ana)"}}"#,
    // What a technician does.
    r#"{"calibration":{"probe":"dm2/rinse","at":"2026-01-01T05:00:00Z","points":[{"against":"ice","reference_c":0.0,"reference_expanded_c":0.1,"indicated_c":0.6,"spread_c":0.02,"readings":80,"lasted_s":20.0,"found_error_c":0.6,"left_error_c":0.0},{"against":"boiling","station_hpa":1002.5,"barometer_hpa":1.0,"reference_c":99.677,"reference_expanded_c":0.23,"indicated_c":100.3,"spread_c":0.03,"readings":80,"lasted_s":20.0,"found_error_c":0.62,"left_error_c":0.0},{"against":"boiling-at-altitude","altitude_m":340.0,"reference_c":98.9,"reference_expanded_c":0.9,"indicated_c":99.5,"spread_c":0.03,"readings":80,"lasted_s":20.0,"found_error_c":0.6,"left_error_c":0.0},{"against":"thermometer","thermometer":"T7","reference_c":82.0,"reference_expanded_c":0.3,"indicated_c":82.6,"spread_c":0.03,"readings":80,"lasted_s":20.0,"found_error_c":0.6,"left_error_c":0.0}],"found":{"gain":1.0,"offset_c":0.0},"left":{"gain":1.0,"offset_c":-0.6},"expanded_c":0.5,"until":"2027-01-01","note":"new probe","by":"Eli (user eli)"}}"#,
    r#"{"response":{"probe":"dm2/rinse","at":"2026-01-01T05:00:00Z","tau_s":1.2,"expanded_s":0.1,"residual_c":0.05,"from_c":21.0,"to_c":82.0,"readings":40,"fast_enough":true,"by":"Eli (user eli)"}}"#,
    r#"{"wiring-proof":{"at":"2026-01-01T05:00:00Z","probes":[{"probe":"dm2/a","good":true,"finding":"answers","seen":{"what":"rose","from_c":21.0,"to_c":33.0}},{"probe":"dm2/b","good":false,"finding":"wrong-type","seen":{"what":"rose","from_c":21.0,"to_c":63.0,"off":{"against":"hand","max_c":40.0},"unseen":["dm2/k"]}},{"probe":"dm2/c","good":false,"finding":"wrong-type","seen":{"what":"rose","from_c":21.0,"to_c":63.0,"off":{"against":"water","water_c":45.0}}},{"probe":"dm2/d","good":false,"finding":"wrong-type","seen":{"what":"rose","from_c":120.0,"to_c":133.0,"off":{"against":"rest"}}},{"probe":"dm2/e","good":false,"finding":"still-rising","seen":{"what":"still-rose","from_c":21.0,"to_c":30.0,"c_per_min":4.0}},{"probe":"dm2/f","good":false,"finding":"wrong-place","seen":{"what":"rose-with","rise_c":9.0,"other_c":8.0},"instead":"dm2/g"},{"probe":"dm2/g","good":false,"finding":"swapped","seen":{"what":"other-rose","other_c":9.0,"same_machine":true},"instead":"dm2/f"},{"probe":"dm2/h","good":false,"finding":"reversed","seen":{"what":"fell","from_c":21.0,"to_c":9.0}},{"probe":"dm2/i","good":false,"finding":"not-at-rest","seen":{"what":"cooled","c_per_min":-2.0,"from_c":40.0,"to_c":30.0}},{"probe":"dm2/m","good":false,"finding":"too-warm","seen":{"what":"too-warm","at_c":68.0,"warmest_c":40.5}},{"probe":"dm2/j","good":false,"finding":"not-at-rest","seen":{"what":"moved","c_per_min":5.0}},{"probe":"dm2/k","good":false,"finding":"dead","seen":{"what":"stayed","at_c":21.0,"rise_c":0.1,"least_c":3.0}},{"probe":"dm2/l","good":false,"finding":"dead","seen":{"what":"no-value","fault":"open-circuit"}}],"good":false,"by":"Eli (user eli)"}}"#,
    r#"{"sign-off":{"at":"2026-01-01T05:00:00Z","site":"kitchen","plate":{"kind":"stationary-rack-dual-temperature","sanitizing":"hot-water","rinse_limit_c":82.2,"rinse_limit_source":"data-plate","rinse_max_c":90.0,"wash_limit_c":65.6,"wash_limit_source":"food-code","wash_s":44.0,"pause_s":2.0,"rinse_s":12.0,"dwell_s":9.0},"probes":[{"probe":"dm2/rinse","place":"final-rinse","signal":"thermocouple K","calibration":5,"correction":{"gain":1.0,"offset_c":-0.6},"calibrated_on":"2026-01-01","until":"2027-01-01","response":6,"proof":7,"tau_s":1.2,"expanded_c":0.5,"near_c":82.2}],"wiring_proof":7,"test_cycle":{"record":8,"verdict":"pass","rinse_min_c":84.6,"basis":"raw"},"open_points":[{"point":"rinse-limit-of-food-code","limit_c":82.2},{"point":"wash-limit-of-food-code","limit_c":65.6},{"point":"not-calibrated","probe":"dm2/rinse"},{"point":"calibration-doubted","probe":"dm2/rinse","record":5},{"point":"response-doubted","probe":"dm2/rinse","record":6},{"point":"calibration-overdue","probe":"dm2/rinse","until":"2025-12-31"},{"point":"calibration-due","probe":"dm2/rinse","until":"2026-01-09"},{"point":"uncertain","probe":"dm2/rinse","expanded_c":2.1,"granted_c":1.5},{"point":"no-response","probe":"dm2/rinse"},{"point":"too-slow","probe":"dm2/rinse","tau_s":6.0,"rinse_s":12.0},{"point":"wiring-not-proved"},{"point":"wiring-not-good","probe":"dm2/rinse","finding":"dead"},{"point":"wiring-left-out","probe":"dm2/rinse"},{"point":"wiring-outdated","since":"2026-01-01T04:00:00Z"},{"point":"no-test-cycle"},{"point":"test-cycle-outdated","record":8},{"point":"test-cycle-not-good","record":8,"verdict":"cold"},{"point":"test-cycle-finding","record":8,"found":{"finding":"wash-low","measured_c":60.0,"limit_c":65.6}},{"point":"open-alert","alert":1,"condition":"cold"}],"note":"as it is fitted","by":"Eli (user eli)"}}"#,
    // Who comes in.
    r#"{"access":{"account":"ana","what":"logged-in","at":"2026-01-01T05:00:00Z","from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":"logged-out","from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"wrong"},"from":"192.0.2.7","times":41}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"locked"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"disabled"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"expired"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"?","what":{"refused":"too-many"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"look"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"enter"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"acknowledge"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"act"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"amend"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"maintain"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"measure"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"export"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"settings"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"not-allowed"},"from":"192.0.2.7","right":"accounts"}}"#,
    r#"{"access":{"account":"ana","what":{"refused":"foreign"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"?","what":{"refused":"unknown-token"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"?","what":{"refused":"misdirected"},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"add","why":"no-name"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"role","why":"last-administrator"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"disable","why":"shown"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"enable","why":"reads-as-token"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"reset","why":"unknown"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"unlock","why":"same"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"remove","why":"taken"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"password","why":"password"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"add-token","why":"days"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"revoke-token","why":"unknown"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"change-refused":{"asked":"role","why":"no-role"}},"from":"192.0.2.7","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"locked":{"for_s":300}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":"unlocked","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"added":{"role":"operator","name":"Ana Díaz"}},"by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"role-changed":{"role":"manager","before":"operator"}},"by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"role-changed":{"role":"auditor","before":"technician"}},"by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"role-changed":{"role":"administrator","before":"auditor"}},"by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":"disabled","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":"enabled","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":"secret-reset","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":"password-changed","from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"reader-changed":{"language":"es","scale":"celsius"}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"reader-changed":{"language":"en","scale":"fahrenheit"}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":"removed","by":"administrator"}}"#,
    r#"{"access":{"account":"export","what":{"token-added":{"role":"auditor","until":"2026-12-31T00:00:00Z"}},"by":"administrator"}}"#,
    r#"{"access":{"account":"export","what":"token-revoked","by":"administrator"}}"#,
    r#"{"access":{"account":"ana","what":{"took-away":{"form":"pdf","since":"2026-01-01T00:00:00Z","until":"2026-01-02T00:00:00Z","machines":["dm2"]}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"checked":{"outcome":"whole","records":8,"findings":0}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"checked":{"outcome":"not-whole","records":8,"findings":2}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"checked":{"outcome":"not-checked","records":0,"findings":0}},"from":"192.0.2.7"}}"#,
    r#"{"access":{"account":"ana","what":{"ended-work":{"of":"dm2/rinse","whose":"Eli"}},"from":"192.0.2.7"}}"#,
];

/// A record of every kind, with every variant of its parts, from these seconds on.
pub(super) fn of_every_kind(seconds: f64) -> Vec<Record> {
    let bodies =
        BODIES.iter().map(|json| serde_json::from_str::<Body>(json).expect("a body as it is stored"));
    let raised = Condition::ALL.into_iter().zip(5_u64..).map(|(condition, number)| {
        let json = format!(
            r#"{{"alert-raised":{{"alert":{number},"condition":"{condition}","since":"2026-01-01T05:00:00Z"}}}}"#
        );
        serde_json::from_str::<Body>(&json).expect("an alert as it is stored")
    });
    let cycles = cycles().into_iter().map(|cycle| Body::Cycle(Box::new(cycle)));
    let times = (0_u32..).map(|place| at(seconds + f64::from(place)));
    let all = bodies.chain(raised).chain(cycles);
    all.zip(times).map(|(body, now)| Record::new(now, machine_of(&body), body)).collect()
}

/// The service itself and its people belong to no machine.
fn machine_of(body: &Body) -> Option<String> {
    let of_the_site = ["service-", "clock-", "configuration-", "signing-", "lawful-", "pruned", "import"];
    let of_the_site = of_the_site.iter().chain(&["restored", "access"]);
    let of_a_machine = !of_the_site.into_iter().any(|kind| body.kind().starts_with(kind));
    of_a_machine.then(|| "dm2".to_owned())
}

fn cycles() -> Vec<Cycle> {
    let reasons = [
        Refusal::TooWeak,
        Refusal::TooStrong,
        Refusal::PhTooHigh,
        Refusal::NotAMeasurement,
        Refusal::NotChemical,
    ]
    .map(|refusal| Reason::Concentration { refusal, mg_per_l: 20.0, limit: None })
    .into_iter()
    .chain([
        Reason::RinseBelowLimit { measured_c: 71.3, limit_c: 82.2 },
        Reason::DwellTooShort { dwell_s: 4.0, required_s: 9.0 },
        Reason::RinseAborted { rinse_s: 2.0 },
        Reason::NoConcentrationCheck,
        Reason::RinseProbe { fault: Fault::OpenCircuit },
        Reason::GapInRinse { gap_s: 3.0 },
        Reason::TooFewReadings { readings: 2, needed: 4 },
        Reason::ProbeTooSlow,
        Reason::EndNotSeen,
        Reason::ClockStep,
        Reason::TooSoon { after_s: 5.0, needed_s: 40.0 },
        Reason::Faint { change_c: 1.5 },
        Reason::TankUnseen,
        Reason::WorkedOn,
        Reason::InsideUncertainty { margin_c: 0.6, uncertainty_c: 1.7 },
    ]);
    let mut made: Vec<Cycle> = reasons.map(|reason| Cycle { reasons: vec![reason], ..plain() }).collect();
    made.extend(Verdict::ALL.map(|verdict| Cycle { verdict, ..plain() }));
    let findings = [
        Finding::WashLow { measured_c: 60.0, limit_c: 65.6 },
        Finding::RinseTooHot { measured_c: 95.0, limit_c: 90.0 },
        Finding::WashUnproven { fault: Some(Fault::Silent) },
    ];
    made.extend(findings.map(|finding| Cycle { findings: vec![finding], ..plain() }));
    let kinds = [
        (MachineKind::StationaryRackSingleTemperature, Sanitizing::Chlorine, LimitSource::Concentration),
        (MachineKind::StationaryRackDualTemperature, Sanitizing::HotWater, LimitSource::DataPlate),
        (MachineKind::SingleTankConveyor, Sanitizing::Iodine, LimitSource::Site),
        (MachineKind::MultitankConveyor, Sanitizing::Quat, LimitSource::FoodCode),
    ];
    made.extend(kinds.map(|(machine_kind, sanitizing, limit_source)| Cycle {
        machine_kind,
        sanitizing,
        limit_source,
        ..plain()
    }));
    made.push(Cycle {
        window_from: WindowFrom::RunSignal,
        basis: Basis::LagCorrected,
        dose_basis: DoseBasis::WareSurface,
        concentration_mg_per_l: Some(75.0),
        ph: Some(7.5),
        trace_sha256: Some("e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855".to_owned()),
        ..plain()
    });
    made
}

fn plain() -> Cycle {
    let Body::Cycle(cycle) = cycle("dm2", 18_000.0, Verdict::Pass).body else {
        unreachable!("the fixture makes a cycle")
    };
    *cycle
}

/// Words of each kind and variant that this program can put on record and that stand in none of these records,
/// by those that can stand there.
///
/// Which these are is what the reader of records itself expects: wherever a word stands in a record it is taken
/// for a wrong one, and where the reader then names what it knows there, all of that has to be found.
pub(super) fn missing(records: &[Record]) -> BTreeMap<String, BTreeSet<String>> {
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for record in records {
        let whole = serde_json::to_value(&record.body).expect("a body is JSON");
        for (place, word) in words(&whole, "") {
            let mut spoiled = whole.clone();
            spoil(&mut spoiled, &place, &word);
            let Err(error) = serde_json::from_value::<Body>(spoiled) else { continue };
            if let Some(known) = known_in_place_of(&error.to_string()) {
                found.entry(known).or_default().insert(word);
            }
        }
    }
    let left = found.into_iter().map(|(known, there)| {
        let all = known.split(", ").map(|word| word.trim_matches('`').to_owned());
        let left: BTreeSet<String> = all.filter(|word| !there.contains(word)).collect();
        (known, left)
    });
    left.filter(|(_, left)| !left.is_empty()).collect()
}

const WRONG: &str = "no such word";

/// What the reader knows in place of the wrong word; `None` where it did not stumble over that.
fn known_in_place_of(error: &str) -> Option<String> {
    let known = error.strip_prefix(&format!("unknown variant `{WRONG}`, expected "))?;
    Some(known.strip_prefix("one of ").unwrap_or(known).replace("` or `", "`, `"))
}

/// Every word, as a key or as a value, with the way to it or to what it is a key of (RFC 6901).
fn words(value: &Value, way: &str) -> Vec<(String, String)> {
    match value {
        Value::String(word) => vec![(way.to_owned(), word.clone())],
        Value::Array(values) => {
            let each =
                values.iter().enumerate().map(|(place, value)| words(value, &format!("{way}/{place}")));
            each.flatten().collect()
        }
        Value::Object(values) => {
            let keys = values.keys().map(|key| (way.to_owned(), key.clone()));
            let below = values.iter().flat_map(|(key, value)| words(value, &format!("{way}/{key}")));
            keys.chain(below).collect()
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => Vec::new(),
    }
}

/// Puts the wrong word where this one stands.
fn spoil(value: &mut Value, way: &str, word: &str) {
    match value.pointer_mut(way) {
        Some(Value::Object(values)) => {
            if let Some(below) = values.remove(word) {
                values.insert(WRONG.to_owned(), below);
            }
        }
        Some(place) => *place = WRONG.into(),
        None => {}
    }
}

// Each body reads back as it was written, and the search finds what is left out: without the records of one kind, and
// without those of one variant.
#[test]
fn what_is_left_out_is_found() {
    let all = of_every_kind(0.0);
    for (json, record) in BODIES.iter().zip(&all) {
        assert_eq!(serde_json::to_string(&record.body).expect("a body is JSON"), *json);
    }
    assert_eq!(missing(&all), BTreeMap::new());
    let without = |part: &str| -> Vec<String> {
        let text = |record: &Record| String::from_utf8(record.to_bytes()).expect("JSON is text");
        let left: Vec<Record> = all.iter().filter(|record| !text(record).contains(part)).cloned().collect();
        missing(&left).into_values().flatten().collect()
    };
    for (part, word) in [
        (r#"{"restored":"#, "restored"),
        (r#"{"refused":"foreign"}"#, "foreign"),
        (r#""change":"escalated""#, "escalated"),
        (r#""reason":"faint""#, "faint"),
        (r#""refusal":"not-chemical""#, "not-chemical"),
        (r#""check":"thermometer""#, "thermometer"),
        (r#""window_from":"run-signal""#, "run-signal"),
    ] {
        assert!(without(part).contains(&word.to_owned()), "{part}: {:?}", without(part));
    }
}
