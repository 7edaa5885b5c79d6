//! A small sound fleet, and damage to one of its tables.

#[cfg(feature = "cli")]
pub mod case;
#[cfg(feature = "cli")]
pub mod file_cases;
#[cfg(feature = "cli")]
pub mod text_cases;

use std::fs;

use linedrift::fleet::{Fault, FolderSpec, ScanSpec};

pub(crate) const SOUND: [(&str, &str); 10] = [
    (
        "lines",
        "model,line,row,rank,nominal_mm,span,chord,tolerance_mm,side,table_version\n\
         Heron,A1,A,1,6000,0.2,0.1,10,,\n\
         Heron,A2,A,2,5900,0.6,0.1,10,,\n\
         Heron,K1,brake,1,6200,0.4,,20,left,\n\
         Heron,A1,A,1,6004,0.2,0.1,10,,2024b\n\
         Egret,A1,A,1,7000,0.5,0.1,,,\n",
    ),
    (
        "segments",
        "model,segment,parent,material,length_mm,diameter_mm,can_loop\n\
         Heron,A1,AM,uhmwpe,1500,0.8,true\n\
         Heron,A2,AM,uhmwpe,1400,0.8,false\n\
         Heron,AM,,aramid,4500,1.4,\n\
         Heron,K1,,uhmwpe,6200,,\n",
    ),
    ("rows", "model,row,chord,riser_mm\nHeron,A,0.12,500\nHeron,brake,,\n"),
    (
        "models",
        "model,span_m,area_m2,root_chord_m,trim_speed_kmh,glide,interval_h,interval_months\n\
         Heron,9.5,24.5,2.9,38,9,100,24\n",
    ),
    (
        "wings",
        "wing,model,mass_kg,first_flight,hours_per_year,interval_h,interval_months,table_version\n\
         7,Heron,95.5,2021-05-01,60,80,12,2024b\n\
         8,Egret,,,,,,\n",
    ),
    (
        "checks",
        "check,wing,date,hours,stage,load_n,datum_mm,temperature_c,condition,brake_setting_mm\n\
         a,7,2022-05-01,50.25,as_found,49,-12.5,-3,damp,80\n\
         b,7,2022-05-01,50.25,as_left,,,,,\n\
         d,7,2023-05-01,90,,,,,,\n\
         c,8,2022-06-01,10,,,,,,\n",
    ),
    (
        "readings",
        "check,side,line,reading_mm,repeat,operator\n\
         a,left,A1,5990,1,one\n\
         a,left,A1,5991.5,2,two\n\
         a,left,K1,6212,,\n\
         b,left,A2,5899,,\n\
         c,left,A1,6988,,\n",
    ),
    ("risers", "check,side,row,datum_mm,riser_mm\na,left,A,-10,498\na,right,A,,501\n"),
    (
        "actions",
        "wing,date,hours,side,segment,action,change_mm,turns,check\n\
         7,2022-05-01,50.25,left,AM,turn,-10,1,b\n\
         7,2022-05-01,50.25,right,,replace,0,,\n",
    ),
    (
        "fittings",
        "wing,side,segment,turns,spare_mm,can_loop,link_diameter_mm,step_mm\n\
         7,left,AM,1,20,true,4,9.5\n\
         7,left,A1,0,0,false,4,9.5\n",
    ),
];

/// The sound fleet as files in a folder of its own.
pub(crate) fn sound() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in SOUND {
        fs::write(folder.path().join(format!("{name}.csv")), text).unwrap();
    }
    folder
}

/// The faults after replacing, in each named table, the first text by the second.
pub(crate) fn faults_after(changes: &[(&str, &str, &str)]) -> Vec<Fault> {
    let folder = sound();
    for (table, from, to) in changes {
        let path = folder.path().join(format!("{table}.csv"));
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.contains(from), "`{from}` is not in {table}");
        fs::write(&path, text.replacen(from, to, 1)).unwrap();
    }
    let whole = FolderSpec::default().read(folder.path());
    let whole = whole.map_or_else(|error| error.faults().to_vec(), |_| Vec::new());
    let scanned = ScanSpec::default().run(folder.path());
    let scanned = scanned.map_or_else(|error| error.faults().to_vec(), |_| Vec::new());
    assert_eq!(scanned, whole, "the streaming pass finds the same faults after {changes:?}");
    whole
}
