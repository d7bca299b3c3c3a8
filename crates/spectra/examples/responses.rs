//! Prints what this crate makes of chart, skin and materials, as JSON on standard output; `script/check/spectra.py`
//! compares it with an independent library.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]

use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{ItaClass, Lab};
use inkarnat_spectra::{
    Camera, ChartSet, SkinModel, Spectrum, cameras, chart, class_mean, d65, illuminant, lab_of,
    materials,
};

fn list(values: &[f64]) -> String {
    let numbers: Vec<String> = values.iter().map(|v| format!("{v:.9}")).collect();
    format!("[{}]", numbers.join(","))
}

fn lab_list(lab: Lab) -> String {
    list(&[lab.l, lab.a, lab.b])
}

fn main() {
    let mut lines = Vec::new();
    for light in ["D50", "A", "FL2", "FL11", "LED-B1", "D65"] {
        let response = Camera::ideal().in_light(illuminant(light).expect("a light of the table"));
        for (set, label) in [(ChartSet::Average, "average"), (ChartSet::Single, "single")] {
            for patch in chart(set) {
                let signal = response.linear_rgb(&patch.reflectance).map(bt709_oetf);
                lines.push(format!(
                    r#"{{"kind":"chart","set":"{label}","patch":"{}","light":"{light}","signal":{}}}"#,
                    patch.name,
                    list(&signal)
                ));
            }
        }
    }
    for class in ItaClass::ALL {
        lines.push(format!(
            r#"{{"kind":"class","class":"{class:?}","lab":{}}}"#,
            lab_list(lab_of(class_mean(class)))
        ));
    }
    for m in materials() {
        lines.push(format!(
            r#"{{"kind":"material","name":"{}","lab":{},"chroma":{:.3}}}"#,
            m.name,
            lab_list(lab_of(&m.reflectance)),
            lab_of(&m.reflectance).chroma()
        ));
    }
    let mean_face = SkinModel::published().skin([0.0; 4]).reflectance;
    for camera in cameras() {
        lines.push(format!(
            r#"{{"kind":"camera","name":"{}","white":{},"face":{}}}"#,
            camera.name,
            list(&camera.linear_rgb(&Spectrum::flat(1.0), d65())),
            list(&camera.linear_rgb(&mean_face, d65()))
        ));
    }
    println!("[{}]", lines.join(",\n"));
}
