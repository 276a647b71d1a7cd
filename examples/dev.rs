use nalgebra::{Vector3,UnitQuaternion,Quaternion};
use swingd::engine::{profile::*,sample::*,motion::track::track};
use std::io::Write;
pub fn profile(path:&str)->Profile{
    let t:toml::Table=std::fs::read_to_string(path).map(|s|s.parse().unwrap()).unwrap_or_default();
    let e=toml::Table::new();
    let sec=|n:&str| t.get(n).and_then(|v|v.as_table()).unwrap_or(&e).clone();
    let num=|s:&toml::Table,k:&str,d:f64| s.get(k).map(|v| v.as_float().unwrap_or_else(||v.as_integer().unwrap() as f64)).unwrap_or(d);
    let arr=|s:&toml::Table,k:&str| s.get(k).map(|v| v.as_array().unwrap().iter().map(|x|x.as_float().unwrap_or_else(||x.as_integer().unwrap() as f64)).collect::<Vec<f64>>());
    let s=sec("sensor");let m=sec("mount");let b=sec("bat");let w=sec("swing");
    let q=arr(&m,"quaternion_wxyz");
    Profile{sensor:SensorProfile{sample_rate_hz:s.get("sample_rate_hz").and_then(|v|v.as_float()),gyro_range_radps:num(&s,"gyro_range_radps",69.8),accel_range_mps2:num(&s,"accel_range_mps2",313.8),accel_hi_range_mps2:num(&s,"accel_hi_range_mps2",1961.3),gyro_bandwidth_hz:num(&s,"gyro_bandwidth_hz",1e5),accel_bandwidth_hz:num(&s,"accel_bandwidth_hz",1e5),gyro_noise_radps_rthz:num(&s,"gyro_noise_radps_rthz",1.7e-4),accel_noise_mps2_rthz:num(&s,"accel_noise_mps2_rthz",2e-3),gyro_scale_error:num(&s,"gyro_scale_error",0.005),accel_scale_error:num(&s,"accel_scale_error",0.005),gyro_bias_radps:num(&s,"gyro_bias_radps",0.01),accel_bias_mps2:num(&s,"accel_bias_mps2",0.2),misalignment_rad:num(&s,"misalignment_rad",0.005)},
    mount:Mount{offset_b_m:arr(&m,"offset_m").map(|v|Vector3::new(v[0],v[1],v[2])).unwrap_or(Vector3::new(0.,0.,-0.012)),q_bs:q.as_ref().map(|v|UnitQuaternion::new_normalize(Quaternion::new(v[0],v[1],v[2],v[3]))).unwrap_or(UnitQuaternion::identity()),tilt_error_rad:num(&m,"tilt_error_rad",0.01),given:q.is_some()},
    bat:Bat{length_m:num(&b,"length_m",0.838),mass_kg:num(&b,"mass_kg",0.85),balance_m:num(&b,"balance_m",0.55),moi_knob6_kgm2:num(&b,"moi_knob6_kgm2",0.2),sweet_spot_m:num(&b,"sweet_spot_m",0.686),barrel_diameter_m:num(&b,"barrel_diameter_m",0.066)},
    swing:SwingContext{side:if w.get("side").and_then(|v|v.as_str())==Some("left"){Side::Left}else{Side::Right},pitch_speed_mps:num(&w,"pitch_speed_mps",20.),pitch_descent_deg:num(&w,"pitch_descent_deg",8.)},calibration:None}
}
pub fn samples(path:&str)->Vec<Sample>{
    let mut r=csv::Reader::from_path(path).unwrap();
    let h=r.headers().unwrap().clone();
    let ix=|n:&str|h.iter().position(|x|x==n);
    let c=["t_s","gyro_x_radps","gyro_y_radps","gyro_z_radps","accel_x_mps2","accel_y_mps2","accel_z_mps2"].map(|n|ix(n).unwrap());
    let hi=["accel_hi_x_mps2","accel_hi_y_mps2","accel_hi_z_mps2"].map(ix);
    let mut out:Vec<Sample>=vec![];
    for rec in r.records(){
        let Ok(rec)=rec else{continue};
        let f=|i:usize|{let s=&rec[i];if s.is_empty(){Some(f64::NAN)}else{s.parse::<f64>().ok().filter(|x|x.is_finite())}};
        let v:Vec<Option<f64>>=c.iter().map(|&i|f(i)).collect();
        if v.iter().any(|x|x.is_none()){continue}
        let v:Vec<f64>=v.into_iter().flatten().collect();
        if !v[0].is_finite()||out.last().is_some_and(|l|v[0]<=l.time.0){continue}
        let hi=hi[0].map(|_|Vector3::from_fn(|k,_|f(hi[k].unwrap()).unwrap_or(f64::NAN)));
        out.push(Sample{time:SensorTime(v[0]),gyro_s_radps:Vector3::new(v[1],v[2],v[3]),accel_s_mps2:Vector3::new(v[4],v[5],v[6]),accel_hi_s_mps2:hi});
    }
    out
}
fn main(){
    let a:Vec<String>=std::env::args().collect();
    let p=profile(&a[2].replace(".csv",".toml")); let s=samples(&a[2]);
    let mut d:Vec<f64>=s.windows(2).take(400).map(|w|w[1].time.0-w[0].time.0).collect(); d.sort_by(f64::total_cmp);
    let h=d[d.len()/2];
    match a[1].as_str(){
        "track"=>{ let t0=std::time::Instant::now(); let rows=track(&s,&p,h); eprintln!("{} {:?}",a[2].rsplit('/').next().unwrap(),t0.elapsed());
            let mut f=std::io::BufWriter::new(std::fs::File::create(&a[3]).unwrap());
            writeln!(f,"t_s,q_w,q_x,q_y,q_z,v_x_mps,v_y_mps,v_z_mps,moving").unwrap();
            for r in rows{let q=r.attitude.wxyz();let v=r.velocity_w_mps;writeln!(f,"{},{},{},{},{},{},{},{},{}",r.time_s,q[0],q[1],q[2],q[3],v.x,v.y,v.z,r.moving as u8).unwrap();}
        }
        "replay"=>{
            use swingd::engine::*;
            let mut out=std::collections::BTreeMap::new();
            for path in &a[2..] {
                let p=profile(&path.replace(".csv",".toml")); let s=samples(path);
                let stop: Option<Stage> = match std::env::var("STAGE").as_deref() {Ok("s")=>Some(Stage::Streaming),Ok("m")=>Some(Stage::Smoothed),_=>None};
                let t0=std::time::Instant::now();
                let mut e=Engine::new(p); let mut ev=e.push(&s); ev.extend(e.finish());
                let el=t0.elapsed(); if std::env::var("TILT").is_ok() { let c=e.calibration().unwrap(); eprintln!("TILT {} {:.4} {:.4} ± {:.4} {:.4}", path, c.mean[33], c.mean[34], c.covariance[(33,33)].sqrt(), c.covariance[(34,34)].sqrt()); }
                out.clear();
                for x in ev { if let Event::Swing{number,stage,swing}=x { if stop.is_none_or(|t| stage<=t) {out.insert(number,swing);} } }
                let sw:Vec<_>=out.values().map(|b|(**b).clone()).collect();
                let sum=swingd::report::RecordingSummary{path:path.clone(),samples:s.len() as u64,duration_s:0.,sample_rate_hz:0.,gaps:0,missing_samples:0,..Default::default()};
                println!("{}",swingd::report::json::Document::new(&sum,&sw).to_line().unwrap());
                eprintln!("{} {:?} {:.0} ns/sample",path.rsplit('/').next().unwrap(),el,el.as_nanos() as f64/s.len() as f64);
            }
        }
        _=>{}
    }
}
